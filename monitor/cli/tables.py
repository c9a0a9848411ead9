"""Files that readings are written to: a row for each, the same columns in every format."""

import csv
from abc import ABC, abstractmethod
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from monitor.errors import Problem, SettingsError
from monitor.ingest.csv_log import EXPORTED
from monitor.quality import Reason
from monitor.quantities import DERIVED_UNITS, unit_of
from monitor.store.readings import Floats, SeriesKey, Track
from monitor.times import rfc3339

DIGITS = 4
"""Derived values have no digits of their own; measured ones stay as they came."""


class _Table(ABC):
    """A file that is open while the block lasts."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._open = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._open.close()

    @abstractmethod
    def write(self, key: SeriesKey, track: Track) -> None:
        """Add the readings of a series."""


class CsvTable(_Table):
    """CSV, as `dewkeep import` reads it."""

    def __enter__(self) -> Self:
        file = self._open.enter_context(self.path.open("w", newline="", encoding="utf-8"))
        self._writer = csv.writer(file)
        self._writer.writerow(EXPORTED)
        return self

    def write(self, key: SeriesKey, track: Track) -> None:
        """Add the readings of a series."""
        unit = unit_of(key.quantity)
        for at_ms, value, code in zip(
            track.at_ms.tolist(), _values(key, track).tolist(), track.reason.tolist(), strict=True
        ):
            reason = Reason(code)
            self._writer.writerow(
                (rfc3339(at_ms), key.probe, key.quantity, value, unit, *_words(reason))
            )


class ParquetTable(_Table):
    """Parquet: times as timestamps in UTC, words as dictionaries, a row group for each part.

    Raises:
        SettingsError: pyarrow is not installed.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        try:
            # A hundred megabytes that nobody else needs.
            import pyarrow  # noqa: PLC0415
            import pyarrow.parquet  # noqa: PLC0415
        except ImportError as exc:
            says = "Parquet needs a further package: pip install 'dewkeep[parquet]'"
            raise SettingsError([Problem(str(path), "", says)]) from exc
        self._arrow: Any = pyarrow
        word = pyarrow.dictionary(pyarrow.int8(), pyarrow.string())
        kinds = [pyarrow.timestamp("ms", tz="UTC"), word, word, pyarrow.float64(), word, word, word]
        self._schema: Any = pyarrow.schema(list(zip(EXPORTED, kinds, strict=True)))

    def __enter__(self) -> Self:
        self._writer = self._open.enter_context(
            self._arrow.parquet.ParquetWriter(self.path, self._schema, compression="zstd")
        )
        return self

    def write(self, key: SeriesKey, track: Track) -> None:
        """Add the readings of a series."""
        if not len(track):
            return
        n, words = len(track), [_words(Reason(code)) for code in track.reason.tolist()]
        columns = (
            track.at_ms.astype("datetime64[ms]"),
            [key.probe] * n,
            [key.quantity.value] * n,
            _values(key, track),
            [unit_of(key.quantity)] * n,
            [quality for quality, _ in words],
            [reason for _, reason in words],
        )
        named = dict(zip(EXPORTED, columns, strict=True))
        self._writer.write_table(self._arrow.Table.from_pydict(named, schema=self._schema))


def _values(key: SeriesKey, track: Track) -> Floats:
    return np.round(track.value, DIGITS) if key.quantity in DERIVED_UNITS else track.value


def _words(reason: Reason) -> tuple[str, str]:
    """Quality and reason as they are written."""
    return reason.quality.value, "" if reason is Reason.OK else reason.name.lower()
