"""One value beside its range: verdict, mark, digits and bar."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.setup.models import Probe, Span, Spans, Zone, ZoneRange
from monitor.store.readings import Latest
from monitor.times import HOUR_MS, MINUTE_MS, parse_rfc3339
from monitor.web.measure import Measure, Shape, measure, written
from monitor.web.units import Units

NIGHT_MS = parse_rfc3339("2026-11-25T03:12:00Z")
LAMP = Daylight(dt.time(8), dt.time(20), ZoneInfo("Europe/Lisbon"))
PROBE = Probe(id="canopy", zone=Zone.CANOPY)
WANTED = ZoneRange(
    day=Spans.model_validate({"humidity": [50, 80]}),
    night=Spans.model_validate({"humidity": [70, 95], "temperature": [18, 24]}),
    critical=Spans.model_validate({"humidity": [35, 100]}),
)


def measured(
    value: float,
    *,
    quantity: Quantity = Quantity.HUMIDITY,
    at_ms: int = NIGHT_MS,
    now_ms: int | None = None,
    reason: Reason = Reason.OK,
    wanted: ZoneRange | None = WANTED,
) -> Measure:
    """A reading of the canopy as it is shown."""
    reading = Latest(at_ms, value, reason)
    return measure(quantity, reading, wanted, PROBE, LAMP, now_ms or at_ms, Units())


@pytest.mark.parametrize(
    ("value", "shape", "says"),
    [
        (34.9, Shape.BELOW, "far too dry"),
        (69.9, Shape.BELOW, "too dry"),
        (70.0, Shape.INSIDE, "in range"),
        (95.0, Shape.INSIDE, "in range"),
        (95.1, Shape.ABOVE, "too damp"),
    ],
)
def test_a_limit_itself_is_in_range(value: float, shape: Shape, says: str) -> None:
    """As the alarms have it, a value is out of range when it is strictly beyond a limit."""
    shown = measured(value)
    assert (shown.shape, shown.says) == (shape, says)


def test_the_range_is_that_of_the_readings_hour() -> None:
    """64 % is too dry at night and right by day."""
    assert measured(64.0).beyond
    assert not measured(64.0, at_ms=NIGHT_MS + 8 * HOUR_MS).beyond


def test_a_critical_limit_counts_where_the_hour_has_no_range() -> None:
    """Beyond it a value is far out of range; within it there is still nothing to praise it by."""
    only_critical = ZoneRange(critical=WANTED.critical)
    shown = measured(20.0, wanted=only_critical)
    assert (shown.says, shown.wanted, shown.bar) == ("far too dry", None, None)
    assert measured(80.0, wanted=only_critical).says == "no range now"


def test_old_doubtful_and_unranged_values_get_no_verdict() -> None:
    """None of them may look in range, nor raise worry of its own."""
    old = measured(80.0, now_ms=NIGHT_MS + 6 * MINUTE_MS)
    doubtful = measured(20.0, reason=Reason.FLAT)
    free = measured(80.0, wanted=None)
    assert [each.shape for each in (old, doubtful, free)] == [Shape.UNSURE] * 3
    assert old.says == "last heard at 03:12"
    assert doubtful.says == "in doubt: has not moved for hours"
    assert free.says == "no range now"


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(64.2, 0, "64"), (69.6, 0, "69.6"), (69.96, 0, "69.96"), (95.4, 0, "95.4"), (-0.04, 1, "0.0")],
)
def test_rounding_never_moves_a_value_over_its_limit(value: float, digits: int, text: str) -> None:
    """69.6 of at least 70 is not shown as 70."""
    assert written(value, Span(low=70, high=95) if value > 1 else None, digits) == text


def test_the_bar_holds_range_and_value_and_clamps() -> None:
    """Humidity is drawn from 0 to 100; a temperature beyond its bar stands at the end."""
    humid = measured(64.0).bar
    assert humid is not None
    assert tuple(humid) == (70.0, 25.0, 64.0)
    hot = measured(80.0, quantity=Quantity.TEMPERATURE).bar
    assert hot is not None
    assert hot.at == 100.0
    assert 0 < hot.start < hot.start + hot.width < 100
