"""The course: what is drawn, and what a script reads, is what the store has."""

from itertools import pairwise

import numpy as np
import pytest

from monitor.quantities import Quantity
from monitor.setup.models import Probe, Span, Zone
from monitor.store.readings import Buckets
from monitor.times import HOUR_MS, MINUTE_MS, parse_rfc3339
from monitor.web.charts.course import Course, Record, course
from monitor.web.charts.wanted import Part
from monitor.web.units import Temperature, Units

START_MS = parse_rfc3339("2026-11-25T00:00:00Z")
END_MS = START_MS + 10 * HOUR_MS
WANTED = Span(low=60, high=90)


def record(mean: list[float], every_ms: int = HOUR_MS, first_ms: int = START_MS) -> Record:
    """A canopy that should keep 60 to 90 %."""
    at_ms = first_ms + every_ms * np.arange(len(mean))
    value = np.array(mean, np.float64)
    ones = np.ones(len(mean), np.int64)
    buckets = Buckets(every_ms // 1000, at_ms, value, value - 2, value + 3, ones)
    part = Part(START_MS, END_MS, True, WANTED)
    return Record(Probe(id="top", zone=Zone.CANOPY), "canopy", buckets, [part])


def drawn(
    *records: Record, quantity: Quantity = Quantity.HUMIDITY, units: Units | None = None
) -> Course:
    """Ten hours."""
    return course(records, quantity, START_MS, END_MS, "Europe/Lisbon", units or Units())


def heights(line: str) -> list[float]:
    """The heights of a line's points."""
    return [float(point.split(",")[1]) for point in line.split()]


def test_the_line_runs_through_the_stores_values() -> None:
    """Turned back from drawing units, every point is a mean of the store, at its middle."""
    means = [61.0, 70.0, 88.0, 75.0]
    (strip,) = drawn(record(means)).strips
    (band,) = strip.bands
    per_unit = (WANTED.high - WANTED.low) / band.height
    values = [WANTED.high - (y - band.y) * per_unit for y in heights(strip.lines[0])]
    assert values == pytest.approx(means, abs=0.05)
    first = float(strip.lines[0].split(",")[0])
    assert first == pytest.approx(1000 * 0.5 / 10)
    hull = heights(strip.hulls[0])
    assert len(hull) == 2 * len(means)
    assert max(hull) > max(heights(strip.lines[0])) > min(heights(strip.lines[0])) > min(hull)


def test_the_spec_is_the_stores_numbers_in_the_stores_unit() -> None:
    """A script converts; what is served is not rounded to the viewer's liking."""
    shown = drawn(
        record([20.123456, 21.0]),
        quantity=Quantity.TEMPERATURE,
        units=Units(Temperature.FAHRENHEIT),
    )
    (strip,) = shown.spec["strips"]
    assert strip["points"][0] == (START_MS, 20.1235, 18.1235, 23.1235)
    spec = shown.spec
    assert 20.0 * spec["times"] + spec["plus"] == pytest.approx(68.0)
    assert spec["sign"] == "°F"


def test_what_strays_is_filled_and_told() -> None:
    """Two of four hours are out: two patches, between the line and the limit that was crossed."""
    (strip,) = drawn(record([70.0, 50.0, 95.0, 60.0])).strips
    (band,) = strip.bands
    below, above = strip.strayed
    assert below.y == pytest.approx(band.y + band.height, abs=0.02)
    assert above.y + above.height == pytest.approx(band.y, abs=0.02)
    assert strip.says == "48\N{EN DASH}98 %, in range 50 % of the time"


@pytest.mark.parametrize(
    ("means", "told"),
    [([70.0] * 4, "all of the time"), ([50.0] * 4, "at no time"), ([70.0] * 999 + [50.0], "99 %")],
)
def test_a_share_never_claims_too_much(means: list[float], told: str) -> None:
    """99.9 % is not all of the time."""
    (strip,) = drawn(record(means, every_ms=36_000)).strips
    assert told in strip.says


def test_a_gap_stays_a_gap() -> None:
    """Hours without a reading are not bridged."""
    each = record([70.0] * 8)
    kept = np.array([True, True, True, False, False, False, True, True])
    columns = each.buckets
    gapped = Buckets(
        columns.resolution_s,
        columns.at_ms[kept],
        columns.mean[kept],
        columns.low[kept],
        columns.high[kept],
        columns.count[kept],
    )
    (strip,) = drawn(each._replace(buckets=gapped)).strips
    assert [len(line.split()) for line in strip.lines] == [3, 2]
    assert len(strip.hulls) == 2


def test_raw_readings_of_a_slow_probe_are_one_line() -> None:
    """Single readings have no width; the probe's own period says what a gap is."""
    each = record([70.0, 71.0, 72.0], every_ms=10 * MINUTE_MS)
    slow = Probe(id="top", zone=Zone.CANOPY, period_s=600)
    raw = Buckets(0, *(getattr(each.buckets, c) for c in ("at_ms", "mean", "low", "high", "count")))
    (strip,) = drawn(each._replace(buckets=raw, probe=slow)).strips
    assert len(strip.lines) == 1


def test_strips_share_their_scale() -> None:
    """The same value is at the same height in each, so that layers can be compared."""
    one, other = drawn(record([61.0, 89.0]), record([61.0, 65.0])).strips
    assert heights(one.lines[0])[0] == heights(other.lines[0])[0]
    assert one.levels == other.levels
    steps = [b.at - a.at for a, b in pairwise(one.levels)]
    assert steps == pytest.approx([steps[0]] * len(steps), abs=0.03)


def test_nothing_heard_is_said() -> None:
    """A strip without readings says so, and draws its range."""
    (strip,) = drawn(record([])).strips
    assert strip.says == "nothing heard in this time"
    assert strip.lines == ()
    assert strip.bands
