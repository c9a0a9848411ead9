"""Logs of other loggers, as they come."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import SettingsError
from monitor.ingest.csv_log import EXPORTED, Clock, Layout, Part, Report, layout_of, read
from monitor.quantities import Quantity
from monitor.times import parse_rfc3339

T, RH = Quantity.TEMPERATURE, Quantity.HUMIDITY
NOW_MS = parse_rfc3339("2026-12-01T00:00:00Z")
LISBON = ZoneInfo("Europe/Lisbon")

Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Writes a log."""

    def to_file(text: str) -> Path:
        path = tmp_path / "old.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


def layout(path: Path, time: str | None = None, **named: str) -> Layout:
    """The columns that are found."""
    return layout_of(path, time, {T: named.get("temperature"), RH: named.get("humidity")})


def contents(
    path: Path,
    columns: Layout | None = None,
    zone: dt.tzinfo = dt.UTC,
    form: str | None = None,
) -> tuple[dict[Quantity, list[tuple[int, float]]], Report]:
    """Everything in the file, and what was left out."""
    report = Report()
    values: dict[Quantity, list[tuple[int, float]]] = {}
    for part in read(path, columns or layout(path), "canopy", Clock(zone, form), NOW_MS, report):
        for quantity, pairs in part.values.items():
            values.setdefault(quantity, []).extend(pairs)
    return values, report


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_columns_are_found_by_their_names(write: Write, separator: str) -> None:
    """Whatever separates them, in any case, with a unit behind, with other columns between."""
    heads = ("Timestamp", "Battery", "Temperature (°C)", "Humidity [%]")
    lines = [separator.join(heads), separator.join(("1796000000", "3.1", "22.5", "71"))]
    values, report = contents(write("\n".join(lines)))

    assert values == {T: [(1796000000_000, 22.5)], RH: [(1796000000_000, 71.0)]}
    assert (report.rows, report.skipped) == (1, {})


def test_named_columns_come_first(write: Write) -> None:
    """What is named is taken; what is not is still found."""
    path = write("when,t,temperature,humidity\n1796000000,21,99,60\n")
    values, _ = contents(path, layout(path, time="when", temperature="t"))

    assert values == {T: [(1796000000_000, 21.0)], RH: [(1796000000_000, 60.0)]}


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("1796000000", "2026-11-30T00:53:20Z"),
        ("1795000000.5", "2026-11-18T11:06:40.500Z"),
        ("2026-07-01T12:00:00Z", "2026-07-01T12:00:00Z"),
        ("2026-07-01T12:00:00+03:00", "2026-07-01T09:00:00Z"),
        ("2026-07-01 12:00:00", "2026-07-01T11:00:00Z"),
        ("2026-07-01", "2026-06-30T23:00:00Z"),
        ("2026-11-01 12:00", "2026-11-01T12:00:00Z"),
    ],
)
def test_times(write: Write, text: str, utc: str) -> None:
    """Epoch seconds, with an offset, or by the enclosure's clock, summer and winter."""
    values, _ = contents(write(f"time,temperature\n{text},20\n"), zone=LISBON)

    assert values[T] == [(parse_rfc3339(utc), 20.0)]


def test_rows_that_cannot_be_used_are_told(write: Write) -> None:
    """Counted by reason, the first few with line and cell; the others go in."""
    text = (
        "time,temperature,humidity\n"
        "yesterday,20,50\n"
        "\n"
        "1796000000,error,51\n"
        "1796000000000,20,50\n"
        "0,20,50\n"
        "2027-01-01T00:00:00Z,20,50\n"
        "1796000060,NaN,5_0\n"
        "1796000120\n"
        "1796000180,21,52\n"
    )
    values, report = contents(write(text))

    assert values == {
        T: [(1796000180_000, 21.0)],
        RH: [(1796000000_000, 51.0), (1796000180_000, 52.0)],
    }
    assert report.skipped == {"no time": 1, "wrong time": 3, "no number": 5}
    assert report.examples[:3] == [
        "line 2: time 'yesterday' is no time",
        "line 4: temperature 'error' is no number; 23.4 would be right",
        (
            "line 5: time '1796000000000' lies before July 1978 or in the future "
            "(a number is taken for seconds since 1970)"
        ),
    ]
    assert len(report.examples) == 5


def test_lines_are_those_of_the_file(write: Write) -> None:
    """Also below a cell that holds line ends."""
    _, report = contents(write('time,note,temperature\n1796000000,"a\nb\nc",20\n1,x,20\n'))

    assert report.examples[0].startswith("line 5:")


def test_our_own_export_is_known_by_its_columns(write: Write) -> None:
    """Only the probe's own rows, and only what is measured."""
    at = "2026-11-01T12:00:00Z"
    path = write(
        ",".join(EXPORTED)
        + f"\n{at},canopy,temperature,22.5,Cel,good,\n{at},floor,temperature,20,Cel,good,"
        f"\n{at},canopy,humidity,71,%RH,good,\n{at},canopy,dew_point,17.0,Cel,good,\n"
    )
    values, report = contents(path)
    own = {quantity: pairs for quantity, pairs in values.items() if pairs}

    assert layout(path).exported
    assert own == {T: [(parse_rfc3339(at), 22.5)], RH: [(parse_rfc3339(at), 71.0)]}
    assert (report.rows, report.skipped) == (4, {})


@pytest.mark.parametrize(
    ("text", "named", "says"),
    [
        ("", {}, "is empty; the first line should name the columns"),
        ("t,v\n", {}, "which column is the time. Name it with --time: t, v"),
        ("time,v\n", {}, "which columns hold values. Name them with --temperature"),
        ("time,v\n", {"temperature": "w"}, "no column 'w'; there are time, v"),
        ("time,v\n", {"time": "when"}, "no column 'when'; there are time, v"),
        (
            "time,temperature_min,temperature_max\n",
            {},
            "which column is the temperature. Name one of temperature_min, temperature_max",
        ),
        ("t\0i\0m\0e\0", {}, "is no plain text; save it as CSV in UTF-8"),
    ],
)
def test_a_file_that_cannot_be_used_says_what_is_missing(
    write: Write, text: str, named: dict[str, str], says: str
) -> None:
    """With the file's name in front."""
    path = write(text)
    with pytest.raises(SettingsError, match=rf"old\.csv: {says}"):
        layout(path, **named)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """Says so."""
    with pytest.raises(SettingsError, match=r"gone\.csv: cannot be read: No such file"):
        layout(tmp_path / "gone.csv")


def test_a_file_that_stops_being_csv(write: Write) -> None:
    """A cell without end is told with its line."""
    path = write('time,temperature\n1796000000,20\n1796000060,"' + 200_000 * "x")
    with pytest.raises(SettingsError, match="line 3 is no CSV: field larger than field limit"):
        contents(path)


def test_long_files_come_in_parts(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounded in memory; each says how far into the file it reaches."""
    monkeypatch.setattr("monitor.ingest.csv_log.CHUNK_ROWS", 10)
    path = write("time,temperature\n" + "".join(f"{1796000000 + n},20\n" for n in range(25)))
    parts: list[Part] = list(read(path, layout(path), "", Clock(dt.UTC), NOW_MS, Report()))

    assert [len(part.values[T]) for part in parts] == [10, 10, 5]
    assert parts[-1].bytes_read == path.stat().st_size


@given(st.text())
def test_no_cell_is_beyond_it(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    """Whatever stands where time and value should be, the file is read to its end."""
    path = tmp_path_factory.mktemp("log") / "any.csv"
    path.write_text(f"time,temperature\n{text},{text}\n1796000000,20\n", "utf-8", "replace")
    report = Report()
    try:
        for _ in read(path, layout(path), "", Clock(LISBON), NOW_MS, report):
            pass
    except SettingsError as exc:
        assert "is no CSV" in str(exc)  # noqa: PT017 - either way is an answer
    assert report.rows <= 2 + 2 * (text.count("\n") + text.count("\r"))


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas_are_read(write: Write, separator: str) -> None:
    """Where nothing else is separated by commas; how many there were is told."""
    rows = [("time", "temperature", "humidity"), ("1796000000", "-22,5", "70,5")]
    values, report = contents(write("\n".join(separator.join(row) for row in rows)))

    assert values == {T: [(1796000000_000, -22.5)], RH: [(1796000000_000, 70.5)]}
    assert report.decimal_commas == 2


def test_a_comma_that_may_mean_thousands_is_refused(write: Write) -> None:
    """Between commas, or with a point beside it, nobody knows what it means."""
    between, report = contents(write('time,temperature\n1796000000,"1,234"\n'))
    beside, _ = contents(write("time;temperature\n1796000000;1.234,5\n"))

    assert not any(between.values())
    assert not any(beside.values())
    assert report.skipped == {"no number": 1}


@pytest.mark.parametrize(
    ("form", "text", "at"),
    [
        ("%d.%m.%Y %H:%M", "01.06.2026 14:30", "2026-06-01T13:30:00Z"),
        ("%m/%d/%Y %I:%M:%S %p", "01/06/2026 02:30:15 PM", "2026-01-06T14:30:15Z"),
        ("%Y%m%d%H%M", "202606011430", "2026-06-01T13:30:00Z"),
        ("%Y-%m-%d %H:%M %z", "2026-06-01 14:30 +0200", "2026-06-01T12:30:00Z"),
    ],
)
def test_times_may_be_written_in_any_way(write: Write, form: str, text: str, at: str) -> None:
    """As the format says, in the given zone unless there is an offset; digits are no epoch then."""
    values, _ = contents(write(f"time,temperature\n{text},20\n"), zone=LISBON, form=form)

    assert values[T] == [(parse_rfc3339(at), 20.0)]


def test_the_hour_that_happens_twice(write: Write) -> None:
    """When the clocks go back, what goes back in the log is an hour later.

    Lisbon, 25 October 2026: 02:00 summer time (01:00 UTC) becomes 01:00 (IANA time zone database).
    """
    walls = ["00:45", "01:00", "01:30", "01:30", "01:00", "01:30", "02:00"]
    rows = "".join(f"2026-10-25 {wall}:00,{n}\n" for n, wall in enumerate(walls))
    values, _ = contents(write("time,temperature\n" + rows), zone=LISBON)

    utc = ["23:45", "00:00", "00:30", "00:30", "01:00", "01:30", "02:00"]
    days = ["2026-10-24", *["2026-10-25"] * 6]
    assert [at for at, _ in values[T]] == [
        parse_rfc3339(f"{day}T{wall}:00Z") for day, wall in zip(days, utc, strict=True)
    ]


def test_every_line_that_is_left_out_can_be_told(write: Write) -> None:
    """Not only the first few."""
    told: list[int] = []
    report = Report(tell=lambda line, _why: told.append(line))
    path = write("time,temperature\n" + "soon,20\n" * 9)

    list(read(path, layout(path), "", Clock(dt.UTC), NOW_MS, report))

    assert told == list(range(2, 11))
    assert len(report.examples) == 5
