"""The map of days and hours: each hour in its cell, by the enclosure's clock."""

from zoneinfo import ZoneInfo

import numpy as np

from monitor.quantities import Quantity
from monitor.setup.models import Span
from monitor.store.readings import Buckets
from monitor.times import DAY_MS, HOUR_MS, parse_rfc3339
from monitor.web.charts.daymap import STEPS, DayMap, day_map
from monitor.web.charts.wanted import Part
from monitor.web.units import Units

SUNDAY_MS = parse_rfc3339("2026-11-22T00:00:00Z")


def mapped(start_ms: int, values: list[float], zone: str = "UTC") -> DayMap:
    """Hourly values from a time on, that should be 10 to 100."""
    value = np.array(values, np.float64)
    at_ms = start_ms + HOUR_MS * np.arange(len(values))
    buckets = Buckets(3600, at_ms, value, value, value, np.ones(len(values), np.int64))
    part = Part(start_ms, start_ms + 9 * DAY_MS, True, Span(low=10, high=100))
    shown = day_map(buckets, [part], ZoneInfo(zone), Quantity.HUMIDITY, Units())
    assert shown is not None
    return shown


def test_each_hour_has_its_cell_and_shade() -> None:
    """The newest day on top; the lowest value palest, the highest darkest, what strays marked."""
    shown = mapped(SUNDAY_MS, [5.0, *[50.0] * 24, 101.0])
    monday, sunday = shown.rows
    assert (sunday.says, monday.says) == ("22 Nov", "23 Nov")
    assert [cell.hour for cell in sunday.cells] == [*range(24)]
    assert (sunday.cells[0].shade, sunday.cells[0].strayed) == (0, "below")
    assert (monday.cells[1].shade, monday.cells[1].strayed) == (STEPS - 1, "above")
    assert sunday.cells[1].strayed == ""
    assert (shown.shades[0], shown.shades[-1], shown.sign) == ("5", "101", "%")


def test_hours_are_those_of_the_enclosures_clock() -> None:
    """A bucket from 19:00 to 20:00 UTC has its middle at one in the next morning in Kolkata."""
    shown = mapped(parse_rfc3339("2026-11-22T19:00:00Z"), [50.0], "Asia/Kolkata")
    (row,) = shown.rows
    assert (row.says, row.cells[0].hour) == ("23 Nov", 1)


def test_the_day_the_clock_is_set_back_has_all_its_hours() -> None:
    """25 hours go into 24 cells, the hour that comes twice showing its second time."""
    shown = mapped(
        parse_rfc3339("2026-10-24T23:00:00Z"), [float(n) for n in range(25)], "Europe/Lisbon"
    )
    (row,) = shown.rows
    assert sorted(cell.hour for cell in row.cells) == [*range(24)]
    assert {cell.hour: cell.says for cell in row.cells}[1] == "2"


def test_nothing_is_no_map() -> None:
    """Without a bucket there is nothing to draw."""
    empty = np.array([], np.int64)
    none = np.array([], np.float64)
    buckets = Buckets(3600, empty, none, none, none, empty)
    assert day_map(buckets, [], ZoneInfo("UTC"), Quantity.HUMIDITY, Units()) is None
