"""What is watched, made from the set-up."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms.model import Condition, PointKey, Priority
from monitor.alarms.rules import ALWAYS_DAY, Limit, compile_rules
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Probe, Room, RoomProbe, Setup, Spans, Zone, ZoneRange
from monitor.store.readings import SeriesKey

INFINITE = float("inf")
SETUP = Setup(
    room=(Room(id="back-room", name="Back room", probe=(RoomProbe(id="air"),)),),
    enclosure=(
        Enclosure(
            id="cork-cube",
            name="Cork cube",
            timezone="Europe/Lisbon",
            lights_on=dt.time(9, 30),
            probe=(
                Probe(id="canopy", zone=Zone.CANOPY, period_s=30),
                Probe(id="floor", zone=Zone.FLOOR, silent_after_s=1800),
            ),
        ),
    ),
)


def spans(**pairs: list[float]) -> Spans:
    """Spans as a keeper writes them."""
    return Spans.model_validate(pairs)


def limits(wanted: ZoneRange, settings: AlarmSettings | None = None) -> dict[PointKey, Limit]:
    """The limits of the canopy probe, by point."""
    rules = compile_rules(SETUP, {("cork-cube", Zone.CANOPY): wanted}, settings or AlarmSettings())
    return {limit.point: limit for found in rules.limits.values() for limit in found}


def humidity(condition: Condition) -> PointKey:
    """A point of the canopy's humidity."""
    return PointKey("cork-cube", "canopy", Quantity.HUMIDITY, condition)


def test_a_zone_without_a_range_is_watched_for_silence_alone() -> None:
    """Probes have their silent points, enclosures their relapse, and the daemon its broker."""
    rules = compile_rules(SETUP, {}, AlarmSettings())

    assert rules.limits == {}
    assert sorted(map(str, rules.points())) == [
        "_daemon.broker",
        "back-room.air.silent",
        "cork-cube.canopy.silent",
        "cork-cube.floor.silent",
        "cork-cube.relapse",
    ]
    assert [probe.silence_ms for probe in rules.probes] == [300_000, 300_000, 1_800_000]


def test_each_probe_lives_by_its_own_lamp() -> None:
    """An enclosure has the daylight of its timer; a room has none and counts as day."""
    rules = compile_rules(SETUP, {}, AlarmSettings())

    assert [probe.daylight for probe in rules.probes] == [
        ALWAYS_DAY,
        *[Daylight(dt.time(9, 30), dt.time(20), ZoneInfo("Europe/Lisbon"))] * 2,
    ]


def test_limits_differ_by_night_and_day_and_critical_ones_do_not() -> None:
    """Range limits follow the lights, critical limits hold always; graver ones stand first."""
    wanted = ZoneRange(
        day=spans(humidity=[60, 80]),
        night=spans(humidity=[70, 95]),
        critical=spans(humidity=[35, 99]),
    )
    found = limits(wanted)

    assert [
        (str(point.condition), limit.priority, tuple(limit.level), tuple(limit.clear))
        for point, limit in found.items()
    ] == [
        ("critical-low", Priority.CRITICAL, (35, 35), (37, 37)),
        ("critical-high", Priority.CRITICAL, (99, 99), (97, 97)),
        ("low", Priority.WARNING, (70, 60), (72, 62)),
        ("high", Priority.WARNING, (95, 80), (93, 78)),
    ]
    assert [limit.on_delay_ms for limit in found.values()] == [180_000, 180_000, *[1_200_000] * 2]
    assert {limit.off_delay_ms for limit in found.values()} == {300_000}
    assert [limit.gap_ms for limit in found.values()] == [300_000, 300_000, *[1_200_000] * 2]


def test_a_range_for_the_day_alone_leaves_the_night_free() -> None:
    """Where no span is set nothing is beyond and everything is clear."""
    found = limits(ZoneRange(day=spans(humidity=[60, 80])))

    assert found[humidity(Condition.LOW)].level == (-INFINITE, 60)
    assert found[humidity(Condition.LOW)].clear == (-INFINITE, 62)
    assert found[humidity(Condition.HIGH)].level == (INFINITE, 80)
    assert found[humidity(Condition.HIGH)].clear == (INFINITE, 78)
    assert humidity(Condition.CRITICAL_LOW) not in found


@pytest.mark.parametrize(
    ("name", "span", "clear"),
    [
        ("temperature", [22, 26], (22.5, 25.5)),
        ("surface_temperature", [30, 40], (30.5, 39.5)),
        ("substrate_moisture", [20, 60], (23, 57)),
        # Never more than half the span, or clearing the one would mean standing in the other.
        ("humidity", [98, 99], (98.5, 98.5)),
    ],
)
def test_each_quantity_has_its_deadband(
    name: str, span: list[float], clear: tuple[float, float]
) -> None:
    """An alarm clears at its limit and the deadband of the quantity, within the span."""
    found = limits(ZoneRange(day=spans(**{name: span})))

    assert [limit.clear.day for limit in found.values()] == list(clear)


def test_settings_are_used() -> None:
    """Delays and deadbands come from the settings."""
    settings = AlarmSettings(
        deadband_humidity_pct=5, on_delay_s=90.5, critical_on_delay_s=0, off_delay_s=7
    )
    found = limits(
        ZoneRange(day=spans(humidity=[60, 80]), critical=spans(humidity=[35, 99])), settings
    )

    low, grave = found[humidity(Condition.LOW)], found[humidity(Condition.CRITICAL_LOW)]
    assert (low.clear.day, low.on_delay_ms, low.off_delay_ms) == (65, 90_500, 7000)
    assert (grave.clear.day, grave.on_delay_ms, grave.gap_ms) == (40, 0, 300_000)


def test_a_room_may_have_a_range() -> None:
    """A room's probes are held against the range given under the room's id."""
    wanted = ZoneRange(day=spans(temperature=[16, 28]))
    rules = compile_rules(SETUP, {("back-room", Zone.ROOM): wanted}, AlarmSettings())

    assert list(rules.limits) == [SeriesKey("back-room", "air", Quantity.TEMPERATURE)]
