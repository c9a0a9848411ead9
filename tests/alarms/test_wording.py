"""What an alarm says, and its JSON."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms.model import BROKER, Alarm, Because, Condition, PointKey, Priority, State
from monitor.alarms.suppression import Suppression
from monitor.alarms.wording import clock, says, wire, wire_suppression
from monitor.quantities import Quantity
from monitor.setup.models import Spans, Zone
from monitor.times import HOUR_MS, MINUTE_MS, parse_rfc3339

LISBON = ZoneInfo("Europe/Lisbon")
RAISED_MS = parse_rfc3339("2026-07-10T02:00:00Z")
LOW = Alarm(
    id="cork-cube.canopy.humidity.low.1",
    point=PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW),
    zone=Zone.CANOPY,
    priority=Priority.WARNING,
    state=State.UNACKNOWLEDGED,
    since_ms=parse_rfc3339("2026-07-10T01:40:00Z"),
    raised_at_ms=RAISED_MS,
    value=46.0,
    limit=60.0,
    extreme=46.0,
)
HOT = replace(
    LOW,
    point=PointKey("cork-cube", "spot-2", Quantity.SURFACE_TEMPERATURE, Condition.CRITICAL_HIGH),
    zone=Zone.BASKING,
    priority=Priority.CRITICAL,
    value=45.03,
    limit=45.0,
    extreme=45.03,
)
SILENT = replace(
    LOW,
    point=PointKey("cork-cube", "canopy", None, Condition.SILENT),
    value=None,
    limit=None,
    extreme=None,
)
CUT_OFF = replace(SILENT, point=BROKER, zone=None, priority=Priority.CRITICAL)
RETURNED_MS = parse_rfc3339("2026-07-10T03:10:00Z")

# By the clock of Lisbon, which is an hour ahead of UTC in July.
SENTENCES = [
    (LOW, RAISED_MS, "Humidity in the canopy is 46 %, below 60 % since 02:40."),
    (
        replace(LOW, extreme=41.25),
        RAISED_MS,
        "Humidity in the canopy has been below 60 % since 02:40, down to 41.2 %.",
    ),
    (
        LOW,
        RAISED_MS + HOUR_MS,
        "Humidity in the canopy has been below 60 % since 02:40, down to 46 %.",
    ),
    (
        replace(LOW, returned_at_ms=RETURNED_MS, extreme=41.0),
        RETURNED_MS,
        "Humidity in the canopy was below 60 % from 02:40 to 04:10, down to 41 %.",
    ),
    (
        replace(LOW, returned_at_ms=RETURNED_MS, extreme=41.0),
        RETURNED_MS + 30 * HOUR_MS,
        "Humidity in the canopy was below 60 % from 02:40 to 04:10 on 10 Jul, down to 41 %.",
    ),
    (
        replace(LOW, returned_at_ms=RETURNED_MS + 24 * HOUR_MS, extreme=41.0),
        RETURNED_MS + 48 * HOUR_MS,
        (
            "Humidity in the canopy was below 60 % from 02:40 on 10 Jul to 04:10 on 11 Jul, "
            "down to 41 %."
        ),
    ),
    (
        LOW,
        RAISED_MS + 30 * HOUR_MS,
        "Humidity in the canopy has been below 60 % since 02:40 on 10 Jul, down to 46 %.",
    ),
    (
        replace(LOW, withdrawn_at_ms=RETURNED_MS),
        RETURNED_MS,
        (
            "Humidity in the canopy was below 60 % since 02:40, down to 46 %; "
            "no longer watched from 04:10."
        ),
    ),
    (
        HOT,
        RAISED_MS,
        (
            "Surface temperature at the basking spot (probe spot-2) is 45.1 °C, "
            "above critical 45 °C since 02:40."
        ),
    ),
    (SILENT, RAISED_MS, "Probe canopy has sent nothing since 02:40."),
    (
        replace(SILENT, returned_at_ms=RETURNED_MS),
        RETURNED_MS,
        "Probe canopy sent nothing from 02:40 to 04:10.",
    ),
    (
        CUT_OFF,
        RAISED_MS,
        "There has been no connection to the broker since 02:40, so nothing could be heard.",
    ),
    (
        replace(CUT_OFF, returned_at_ms=RETURNED_MS),
        RETURNED_MS,
        "There was no connection to the broker from 02:40 to 04:10, so nothing could be heard.",
    ),
]


@pytest.mark.parametrize(("alarm", "now_ms", "expected"), SENTENCES)
def test_one_plain_sentence(alarm: Alarm, now_ms: int, expected: str) -> None:
    """The sentence says what is or was the matter, where, how bad and since when."""
    assert says(alarm, LISBON, now_ms) == expected


@pytest.mark.parametrize(("value", "shown"), [(59.96, "59.9"), (59.999, "59.9"), (-0.04, "-0.1")])
def test_a_value_never_seems_to_lie_on_its_limit(value: float, shown: str) -> None:
    """Values are rounded away from the limit they are beyond."""
    sentence = says(replace(LOW, value=value, extreme=value), LISBON, RAISED_MS)

    assert f"is {shown} %, below 60 %" in sentence


@pytest.mark.parametrize("zone", Zone)
@pytest.mark.parametrize("quantity", Spans.model_fields)
def test_every_zone_and_quantity_has_words(zone: Zone, quantity: str) -> None:
    """Nothing that can be alarmed on lacks its words."""
    point = PointKey("cork-cube", "x", Quantity(quantity), Condition.LOW)
    sentence = says(replace(LOW, point=point, zone=zone), LISBON, RAISED_MS)

    assert quantity.rpartition("_")[2] in sentence.lower()
    assert "(probe x) is 46 " in sentence


@pytest.mark.parametrize(
    ("ago_ms", "expected"),
    [
        (0, "03:00"),
        (12 * HOUR_MS - 1, "03:00"),
        (12 * HOUR_MS, "03:00 on 10 Jul"),
        (-12 * HOUR_MS, "03:00 on 10 Jul"),
    ],
)
def test_a_time_carries_its_date_when_it_is_far(ago_ms: int, expected: str) -> None:
    """Within half a day the time alone is clear; further off the date is said."""
    assert clock(RAISED_MS, LISBON, RAISED_MS + ago_ms) == expected


def test_the_json_of_an_alarm() -> None:
    """Keys, units and UTC times are those of the API."""
    alarm = replace(
        LOW,
        state=State.SHELVED,
        acknowledged_at_ms=RAISED_MS + MINUTE_MS,
        acknowledged_by="ada",
        shelved_until_ms=RAISED_MS + HOUR_MS,
        shelved_by="eve",
        called_at_ms=RAISED_MS,
        group="moss-box.canopy.humidity.low.1",
    )
    assert wire(alarm, LISBON, RAISED_MS) == {
        "id": "cork-cube.canopy.humidity.low.1",
        "enclosure": "cork-cube",
        "probe": "canopy",
        "zone": "canopy",
        "quantity": "humidity",
        "condition": "low",
        "priority": "warning",
        "state": "shelved",
        "since": "2026-07-10T01:40:00Z",
        "raised_at": "2026-07-10T02:00:00Z",
        "value": 46.0,
        "unit": "%RH",
        "limit": 60.0,
        "extreme": 46.0,
        "returned_at": None,
        "acknowledged_at": "2026-07-10T02:01:00Z",
        "acknowledged_by": "ada",
        "shelved_until": "2026-07-10T03:00:00Z",
        "shelved_by": "eve",
        "suppressed_because": None,
        "suppressed_by": None,
        "group": "moss-box.canopy.humidity.low.1",
        "chattering": False,
        "stale": False,
        "called_at": "2026-07-10T02:00:00Z",
        "withdrawn_at": None,
        "says": "Humidity in the canopy is 46 %, below 60 % since 02:40.",
    }


def test_the_json_of_silence() -> None:
    """A silent probe has no quantity, value, unit or limit."""
    document = wire(SILENT, LISBON, RAISED_MS)

    assert {document[key] for key in ("quantity", "value", "unit", "limit", "extreme")} == {None}
    assert document["condition"] == "silent"


def test_the_json_of_what_concerns_dewkeep_itself() -> None:
    """The broker belongs to no enclosure, probe or zone."""
    document = wire(CUT_OFF, LISBON, RAISED_MS)

    assert {document[key] for key in ("enclosure", "probe", "zone", "quantity", "value")} == {None}
    assert (document["condition"], document["priority"]) == ("broker", "critical")


def test_the_json_of_an_alarm_that_is_kept_quiet() -> None:
    """Why and by whom; what has stood for more than a day is stale."""
    quiet = replace(
        LOW,
        state=State.SUPPRESSED,
        suppressed_because=Because.MAINTENANCE,
        suppressed_by="ada",
    )
    document = wire(quiet, LISBON, RAISED_MS + 24 * HOUR_MS + 1)

    assert (document["suppressed_because"], document["suppressed_by"]) == ("maintenance", "ada")
    assert document["stale"] is True
    assert wire(quiet, LISBON, RAISED_MS + 24 * HOUR_MS)["stale"] is False


def test_the_json_of_what_keeps_alarms_quiet() -> None:
    """Scope, reason, times and who says so; a probe out of service has no end."""
    gone = Suppression(
        "cork-cube", Because.OUT_OF_SERVICE, RAISED_MS, None, "ada", "drifts", "canopy"
    )
    assert wire_suppression(gone, RAISED_MS) == {
        "enclosure": "cork-cube",
        "probe": "canopy",
        "because": "out_of_service",
        "since": "2026-07-10T02:00:00Z",
        "until": None,
        "in_force": True,
        "by": "ada",
        "why": "drifts",
    }

    mister = Suppression(
        "cork-cube", Because.MISTING, RAISED_MS, RAISED_MS + HOUR_MS, reported_ms=RAISED_MS, on=True
    )
    document = wire_suppression(mister, RAISED_MS + HOUR_MS)
    assert (document["until"], document["in_force"]) == ("2026-07-10T03:00:00Z", False)
