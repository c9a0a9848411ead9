"""Old logs: CSV files of other loggers as columns of readings, with a word on each row left out."""

import csv
import datetime as dt
import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monitor.errors import Problem, SettingsError
from monitor.quantities import MEASURED, Quantity
from monitor.times import parse_rfc3339

CHUNK_ROWS = 50_000
TIME_HEADS = ("time", "timestamp", "date", "datetime", "at")
EXAMPLES = 5


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column holds what: the time, and at least one quantity."""

    time: str
    quantities: Mapping[Quantity, str]


@dataclass(slots=True)
class Report:
    """What became of the rows of a file."""

    rows: int = 0
    readings: int = 0
    skipped: Counter[str] = field(default_factory=Counter)
    examples: list[str] = field(default_factory=list)

    def skip(self, line: int, reason: str, says: str) -> None:
        """Count a row that was left out; the first few are kept to show."""
        self.skipped[reason] += 1
        if len(self.examples) < EXAMPLES:
            self.examples.append(f"line {line}: {says}")


@dataclass(frozen=True, slots=True)
class Part:
    """Some rows of a file: (epoch ms, value) by quantity, and how many bytes of it are read."""

    values: Mapping[Quantity, list[tuple[int, float]]]
    bytes_read: int


def columns_of(path: Path, time: str | None, named: Mapping[Quantity, str | None]) -> Columns:
    """Find the columns: those that are named, else those whose heads say so.

    Raises:
        SettingsError: the file cannot be read or has no such columns.
    """
    heads = _heads(path)
    for wanted in (time, *named.values()):
        if wanted is not None and wanted not in heads:
            raise _wrong(path, f"no column {wanted!r}; there are {', '.join(heads)}")
    time = time or next((head for head in heads if head.lower() in TIME_HEADS), None)
    if time is None:
        raise _wrong(path, f"which column is the time? Name it with --time: {', '.join(heads)}")
    found = {q: head for q, head in named.items() if head is not None} or {
        quantity: head
        for quantity in MEASURED
        for head in heads
        if head.lower().startswith(quantity.value)
    }
    if not found:
        raise _wrong(
            path,
            "which columns hold values? Name them with --temperature and --humidity: "
            + ", ".join(heads),
        )
    return Columns(time, found)


def read(path: Path, columns: Columns, zone: dt.tzinfo, report: Report) -> Iterator[Part]:
    """The file in parts; times without an offset are wall-clock times of ``zone``."""
    values: dict[Quantity, list[tuple[int, float]]] = {q: [] for q in columns.quantities}
    with path.open(newline="", encoding="utf-8-sig", errors="replace") as file:
        counted = _Counted(file)
        for row in csv.DictReader(counted):
            report.rows += 1
            at_ms = _time(row.get(columns.time) or "", zone)
            if at_ms is None:
                report.skip(report.rows + 1, "no time", f"{row.get(columns.time)!r} is no time")
                continue
            for quantity, head in columns.quantities.items():
                text = (row.get(head) or "").strip()
                value = _number(text)
                if value is None:
                    report.skip(report.rows + 1, "no number", f"{head} {text!r} is no number")
                    continue
                report.readings += 1
                values[quantity].append((at_ms, value))
            if report.rows % CHUNK_ROWS == 0:
                yield Part(values, counted.read_bytes)
                values = {q: [] for q in columns.quantities}
        yield Part(values, counted.read_bytes)


class _Counted:
    """Lines of a file, counted as they are read, since a text file cannot tell while iterated."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self.read_bytes = 0

    def __iter__(self) -> Iterator[str]:
        for line in self._lines:
            self.read_bytes += len(line.encode())
            yield line


def _heads(path: Path) -> list[str]:
    try:
        with path.open(newline="", encoding="utf-8-sig", errors="replace") as file:
            heads = next(csv.reader(file), [])
    except OSError as exc:
        raise _wrong(path, f"cannot be read: {exc.strerror}") from exc
    if not heads:
        raise _wrong(path, "is empty; the first line should name the columns")
    return heads


def _time(text: str, zone: dt.tzinfo) -> int | None:
    text = text.strip()
    number = _number(text)
    if number is not None:
        return round(number * 1000)
    try:
        return parse_rfc3339(text)
    except ValueError:
        pass
    try:
        local = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    return round(local.replace(tzinfo=zone).timestamp() * 1000)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _wrong(path: Path, says: str) -> SettingsError:
    return SettingsError([Problem(str(path), "", says)])
