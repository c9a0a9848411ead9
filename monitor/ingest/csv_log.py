"""Old logs: CSV files of other loggers as columns of readings, with a word on each row left out.

A log has a column for the time and one for each quantity. What `dewkeep export` writes is read too:
it has a row for each reading, and is known by its columns.
"""

import csv
import datetime as dt
import math
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from monitor.errors import PayloadError, Problem, SettingsError
from monitor.ingest.payload.decoded import EARLIEST_MS
from monitor.quantities import MEASURED, Quantity

CHUNK_ROWS = 50_000
DELIMITERS = ",;\t"
GUESSED: tuple[Quantity, ...] = tuple(
    quantity for quantity in MEASURED if quantity is not Quantity.BATTERY
)
"""Quantities whose columns are found by their names: one called battery mostly holds volts."""
TIME_HEADS = ("time", "timestamp", "date", "datetime", "at")
COMMA = re.compile(r"[-+]?\d+,\d+\Z")
"""A number with a decimal comma."""
EXAMPLES = 5
EXPORTED = ("time", "probe", "quantity", "value", "unit", "quality", "reason")
"""The columns of `dewkeep export`."""

Row = Mapping[str, str | None]
Cells = Sequence[tuple[Quantity, str, str]]
"""The values of a row: quantity, what the column is called, text."""


@dataclass(frozen=True, slots=True)
class Layout:
    """How a file is laid out: what separates its columns, and where times and values stand."""

    delimiter: str
    time: str
    heads: Mapping[Quantity, str]
    """The column of each quantity; empty for an export of ours, which has a row for each value."""

    @property
    def exported(self) -> bool:
        """Whether dewkeep wrote the file: its values are calibrated already."""
        return not self.heads

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """What the file may hold."""
        return tuple(MEASURED if self.exported else self.heads)


@dataclass(slots=True)
class Report:
    """What became of the rows of a file; ``tell`` is given every line that was left out, and why.

    ``decimal_commas`` counts the numbers that were written with one.
    """

    tell: Callable[[int, PayloadError], object] = lambda _line, _why: None
    rows: int = 0
    decimal_commas: int = 0
    skipped: Counter[str] = field(default_factory=Counter)
    examples: list[str] = field(default_factory=list)

    def skip(self, line: int, why: PayloadError) -> None:
        """Count what was left out; the first few are kept to show."""
        self.skipped[why.reason] += 1
        self.tell(line, why)
        if len(self.examples) < EXAMPLES:
            self.examples.append(f"line {line}: {why.says}")


class Clock:
    """Reads the times of a log, which come in the order of its rows.

    ``zone`` is that of times without an offset; ``form`` is how they are written, in the codes of
    ``strptime``, else RFC 3339 or epoch seconds. When the clocks go back an hour happens twice: a
    time in it that lies before the one above it is taken for its second run.
    """

    def __init__(self, zone: dt.tzinfo, form: str | None = None) -> None:
        self._zone = zone
        self._form = form
        self._before_s = -math.inf

    def read(self, text: str) -> float:
        """Epoch seconds.

        Raises:
            ValueError: the text is no such time.
        """
        number = _number(text) if self._form is None else None
        self._before_s = self._seconds(text) if number is None else number
        return self._before_s

    def _seconds(self, text: str) -> float:
        if self._form is None:
            when = dt.datetime.fromisoformat(text)
        else:
            when = dt.datetime.strptime(text, self._form)  # noqa: DTZ007 - the zone follows
        if when.tzinfo is not None:
            return when.timestamp()
        first, second = (when.replace(tzinfo=self._zone, fold=n).timestamp() for n in (0, 1))
        return second if second > first and first < self._before_s else first


@dataclass(frozen=True, slots=True)
class Part:
    """Some rows of a file: (epoch ms, value) by quantity, and how many bytes of it are read."""

    values: Mapping[Quantity, Sequence[tuple[int, float]]]
    bytes_read: int


def layout_of(path: Path, time: str | None, named: Mapping[Quantity, str | None]) -> Layout:
    """Find the columns: those that are named, else those whose heads say so.

    Raises:
        SettingsError: the file cannot be read or has no such columns.
    """
    delimiter, heads = _heads(path)
    for wanted in (time, *named.values()):
        if wanted is not None and wanted not in heads:
            raise _wrong(path, f"no column {wanted!r}; there are {', '.join(heads)}")
    if set(EXPORTED) <= set(heads) and not any(named.values()):
        return Layout(delimiter, "time", {})
    time = time or next((head for head in heads if head.lower() in TIME_HEADS), None)
    if time is None:
        raise _wrong(path, f"which column is the time? Name it with --time: {', '.join(heads)}")
    found = {q: named.get(q) or _column(path, q, heads) for q in GUESSED}
    columns = {quantity: head for quantity, head in found.items() if head is not None}
    if not columns:
        raise _wrong(
            path,
            "which columns hold values? Name them with --temperature and --humidity: "
            + ", ".join(heads),
        )
    return Layout(delimiter, time, columns)


def read(
    path: Path, layout: Layout, probe: str, clock: Clock, now_ms: int, report: Report
) -> Iterator[Part]:
    """The file in parts.

    Of an export of ours only the rows of ``probe`` are read, and no derived values.

    Raises:
        SettingsError: the file is no CSV from some line on.
    """
    cells_of = _exported_cells(probe) if layout.exported else _logged_cells(layout.heads)
    values: dict[Quantity, list[tuple[int, float]]] = {q: [] for q in layout.quantities}
    with path.open(newline="", encoding="utf-8-sig", errors="replace") as file:
        counted = _Counted(file)
        rows = csv.DictReader(counted, delimiter=layout.delimiter, skipinitialspace=True)
        try:
            for row in rows:
                report.rows += 1
                for found in _readings(row, layout, cells_of(row), clock, now_ms):
                    if isinstance(found, PayloadError):
                        report.skip(rows.line_num, found)
                    else:
                        quantity, at_ms, value, has_comma = found
                        values[quantity].append((at_ms, value))
                        report.decimal_commas += has_comma
                if report.rows % CHUNK_ROWS == 0:
                    yield Part(values, counted.read_bytes)
                    values = {q: [] for q in layout.quantities}
        except csv.Error as exc:
            raise _wrong(path, f"line {rows.line_num + 1} is no CSV: {exc}") from exc
        yield Part(values, counted.read_bytes)


def _readings(
    row: Row, layout: Layout, cells: Cells, clock: Clock, now_ms: int
) -> Iterator[tuple[Quantity, int, float, bool] | PayloadError]:
    """What a row holds, or why not; a row without a time is one mistake, not one for each cell."""
    if not cells:
        return
    try:
        at_ms = _time(layout.time, row.get(layout.time), clock, now_ms)
    except PayloadError as exc:
        yield exc
        return
    for quantity, head, text in cells:
        # Where a comma separates columns, one inside a number is as likely to mean thousands.
        has_comma = layout.delimiter != "," and COMMA.match(text) is not None
        number = _number(text.replace(",", ".") if has_comma else text)
        if number is None:
            yield PayloadError("no number", f"{head} {text!r} is no number; 23.4 would be right")
        else:
            yield quantity, at_ms, number, has_comma


def _logged_cells(heads: Mapping[Quantity, str]) -> Callable[[Row], Cells]:
    def cells(row: Row) -> Cells:
        return [(quantity, head, (row.get(head) or "").strip()) for quantity, head in heads.items()]

    return cells


def _exported_cells(probe: str) -> Callable[[Row], Cells]:
    def cells(row: Row) -> Cells:
        if row["probe"] != probe or row["quantity"] not in MEASURED:
            return []
        return [(Quantity(row["quantity"]), "value", row["value"] or "")]

    return cells


class _Counted:
    """Lines of a file, counted as they are read, since a text file cannot tell while iterated."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self.read_bytes = 0

    def __iter__(self) -> Iterator[str]:
        for line in self._lines:
            self.read_bytes += len(line.encode())
            yield line


def _heads(path: Path) -> tuple[str, list[str]]:
    try:
        with path.open(newline="", encoding="utf-8-sig", errors="replace") as file:
            line = file.readline(10_000)
    except OSError as exc:
        raise _wrong(path, f"cannot be read: {exc.strerror}") from exc
    if not line.strip():
        raise _wrong(path, "is empty; the first line should name the columns")
    if "\0" in line:
        raise _wrong(path, "is no plain text; save it as CSV in UTF-8")
    delimiter = max(DELIMITERS, key=line.count)
    return delimiter, next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))


def _column(path: Path, quantity: Quantity, heads: list[str]) -> str | None:
    """The column that goes by the name of a quantity, or begins with it: `Temperature (C)`."""
    same = [head for head in heads if head.lower() == quantity]
    found = same or [head for head in heads if head.lower().startswith(quantity)]
    if len(found) > 1:
        raise _wrong(path, f"which column is the {quantity}? Name one of {', '.join(found)}")
    return found[0] if found else None


def _time(head: str, cell: str | None, clock: Clock, now_ms: int) -> int:
    text = (cell or "").strip()
    try:
        at_ms = round(1000 * clock.read(text))
    except (ValueError, OverflowError) as exc:
        raise PayloadError("no time", f"{head} {text!r} is no time") from exc
    if not EARLIEST_MS <= at_ms <= now_ms:
        says = "lies before July 1978 or in the future (a number is taken for seconds since 1970)"
        raise PayloadError("wrong time", f"{head} {text!r} {says}")
    return at_ms


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    # Python reads 1_000 as a number; no logger writes that.
    return value if math.isfinite(value) and "_" not in text else None


def _wrong(path: Path, says: str) -> SettingsError:
    return SettingsError([Problem(str(path), "", says)])
