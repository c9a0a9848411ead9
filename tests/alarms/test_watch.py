"""Which readings take part, and what is remembered of them."""

from typing import TYPE_CHECKING

import pytest

from monitor.alarms.detection import Kind
from monitor.alarms.watch import Findings, Watch
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.store.readings import SeriesKey
from monitor.times import HOUR_MS, MINUTE_MS

if TYPE_CHECKING:
    from tests.alarms.conftest import Reading, World

AT_ONCE = AlarmSettings(on_delay_s=0, critical_on_delay_s=0, off_delay_s=0)
NOON = 12 * HOUR_MS
HUMIDITY = SeriesKey("cork-cube", "canopy", Quantity.HUMIDITY)


def watch_of(world: "World") -> Watch:
    """A watch that has heard nothing yet."""
    watch = Watch(world.rules, {}, {}, {}, now_ms=0)
    watch.bind(world.series)
    return watch


def raised(findings: Findings) -> list[tuple[str, int]]:
    """Conditions raised, with their times."""
    return [
        (signal.limit.point.condition.value, signal.at_ms)
        for signal in findings.signals
        if signal.kind is Kind.RAISED
    ]


def test_quiet_readings_change_only_the_time_last_used(
    world: "type[World]", reading: "type[Reading]"
) -> None:
    """Values within their limits leave no signal and no memory."""
    watch = watch_of(world(AT_ONCE))
    batch = [
        reading(NOON + MINUTE_MS, 70),
        reading(NOON, 71),
        reading(NOON, 24, Quantity.TEMPERATURE),
    ]
    findings = watch.look(world().readings(batch), now_ms=1)

    assert not findings.signals
    assert not findings.memories
    assert watch.last_used() == {}
    watch.remember(findings)
    assert watch.last_used() == {
        HUMIDITY: NOON + MINUTE_MS,
        HUMIDITY._replace(quantity=Quantity.TEMPERATURE): NOON,
    }


def test_limits_hold_by_the_lights_at_a_readings_own_time(
    world: "type[World]", reading: "type[Reading]"
) -> None:
    """The same 65 % is too low a minute before lights on, and fine a minute after."""
    watch = watch_of(world(AT_ONCE))
    lights_on = 8 * HOUR_MS
    batch = [reading(lights_on - 1, 65), reading(lights_on, 65)]
    findings = watch.look(world().readings(batch), now_ms=0)

    assert [(s.kind, s.at_ms, s.level) for s in findings.signals] == [
        (Kind.RAISED, lights_on - 1, 70.0),
        (Kind.RETURNED, lights_on, 60.0),
    ]


@pytest.mark.parametrize("reason", [reason for reason in Reason if reason is not Reason.OK])
def test_only_good_readings_take_part(
    world: "type[World]", reading: "type[Reading]", reason: Reason
) -> None:
    """A suspect or bad reading neither raises nor clears, nor makes later ones late."""
    watch = watch_of(world(AT_ONCE))
    findings = watch.look(
        world().readings([reading(NOON + HOUR_MS, 5, reason=reason), reading(NOON, 50)]), now_ms=0
    )

    assert raised(findings) == [("low", NOON)]


def test_a_late_reading_is_passed_by(world: "type[World]", reading: "type[Reading]") -> None:
    """What is not newer than the last used reading never rewinds an alarm."""
    watch = watch_of(world(AT_ONCE))
    watch.remember(watch.look(world().readings([reading(NOON, 70)]), now_ms=0))

    late = [reading(NOON - 1, 20), reading(NOON, 20)]
    assert not watch.look(world().readings(late), now_ms=0).signals
    assert raised(watch.look(world().readings([*late, reading(NOON + 1, 50)]), now_ms=0)) == [
        ("low", NOON + 1)
    ]


def test_a_batch_is_taken_in_order_of_time(world: "type[World]", reading: "type[Reading]") -> None:
    """A pack written newest first counts like one written oldest first; of a repeat the first."""
    watch = watch_of(world(AT_ONCE))
    batch = [
        reading(NOON + 2, 70),
        reading(NOON, 50),
        reading(NOON, 70),
        reading(NOON + 1, 20),
        reading(NOON, 28, Quantity.TEMPERATURE),
    ]
    findings = watch.look(world().readings(batch), now_ms=0)

    assert [
        (s.kind.name, s.limit.point.condition.value, s.at_ms - NOON) for s in findings.signals
    ] == [
        ("RAISED", "low", 0),
        ("RAISED", "high", 0),
        ("WORSE", "low", 1),
        ("RAISED", "critical-low", 1),
        ("RETURNED", "low", 2),
        ("RETURNED", "critical-low", 2),
    ]


def test_series_that_are_not_known_are_passed_by(
    world: "type[World]", reading: "type[Reading]"
) -> None:
    """Ids never bound, and bound ids of probes outside the set-up, do no harm."""
    watch = Watch(world(AT_ONCE, probes=("floor",)).rules, {}, {}, {}, now_ms=0)
    watch.bind(world().series)

    findings = watch.look(
        world().readings([reading(NOON, 5), reading(NOON, 5, probe="attic")]), now_ms=0
    )
    assert findings.used is not None
    assert len(findings.used.row) == 0


def test_a_series_can_be_bound_later(world: "type[World]", reading: "type[Reading]") -> None:
    """The first reading of a new series counts as soon as its id is known, however large."""
    here = world(AT_ONCE)
    here.series[HUMIDITY] = 5000
    watch = watch_of(world(AT_ONCE))
    assert not watch.look(here.readings([reading(NOON, 50)]), now_ms=0).signals

    watch.bind({HUMIDITY: 5000})
    assert raised(watch.look(here.readings([reading(NOON, 50)]), now_ms=0)) == [("low", NOON)]
    assert watch.series[HUMIDITY] == 5000


def test_nothing_to_watch_is_no_trouble(world: "type[World]", reading: "type[Reading]") -> None:
    """Without any probe, and without any reading, nothing is found."""
    empty = watch_of(world(probes=()))
    assert empty.look(world().readings([reading(NOON, 5)]), now_ms=0).signals == []
    assert empty.listen(HOUR_MS, connected=True).silent == []
    assert watch_of(world()).look(world().readings([]), now_ms=0).memories == {}


def test_any_quantity_and_quality_tells_that_a_probe_lives(
    world: "type[World]", reading: "type[Reading]"
) -> None:
    """Silence is of the whole probe: even a bad illuminance breaks it, by its arrival."""
    watch = watch_of(world())
    sign = reading(5, 900, Quantity.ILLUMINANCE, "floor", Reason.LIMIT)
    watch.look(world().readings([sign]), now_ms=4 * MINUTE_MS)

    assert [
        (s.probe.probe, s.since_ms) for s in watch.listen(5 * MINUTE_MS, connected=True).silent
    ] == [("canopy", 0)]
    assert watch.hearing.last_heard() == {
        ("cork-cube", "canopy"): 0,
        ("cork-cube", "floor"): 4 * MINUTE_MS,
    }


def test_silence_is_told_once(world: "type[World]", reading: "type[Reading]") -> None:
    """A silent probe is told when its time is up, not again, and again after it was heard."""
    watch = watch_of(world(probes=("canopy",)))
    minute = MINUTE_MS

    assert not watch.listen(5 * minute - 1, connected=True).silent
    findings = watch.listen(5 * minute, connected=True)
    assert [silence.since_ms for silence in findings.silent] == [0]
    watch.remember(findings)
    assert not watch.listen(6 * minute, connected=True).silent

    heard = watch.look(world().readings([reading(NOON, 70)]), now_ms=7 * minute)
    assert [probe.probe for probe in heard.heard_again] == ["canopy"]
    watch.remember(heard)
    assert not watch.memories
    assert [silence.since_ms for silence in watch.listen(12 * minute, connected=True).silent] == [
        7 * minute
    ]
