"""The wall clock is put right, or the machine sleeps: nobody falls silent, no alarm is missed."""

import logging

import pytest

from monitor.alarms.model import Condition
from monitor.ingest.loop import IngestLoop
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, rfc3339
from tests.support.publisher import senml
from tests.support.rig import CANOPY, NOON_MS, Rig
from tests.support.waiting import eventually

SILENT_AFTER_MIN = 10


@pytest.fixture
def rig(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """A rig whose probe is silent after ten minutes; bare numbers come without a time."""
    setup = """
        [[enclosure]]
        id = "cork-cube"
        name = "Cork cube"
        probe = [{ id = "canopy", zone = "canopy", silent_after_s = 600 }]
        range = { canopy = { day = { humidity = [60, 90] }, night = { humidity = [60, 90] } } }
    """
    source = [
        {"topic": "dewkeep/{enclosure}/{probe}"},
        {"topic": "bare/{enclosure}/{probe}/{quantity}", "payload": "number"},
    ]
    return Rig(tmp_path_factory.mktemp("rig"), enclosures=setup, settings={"source": source})


def jump(rig: Rig, by_ms: int) -> None:
    """The clock is put right, and the pipeline told."""
    rig.now_ms += by_ms
    rig.pipeline.clock_jumped(by_ms, rig.now_ms)


def raised(rig: Rig) -> list[Condition]:
    """What stands."""
    return [alarm.point.condition for alarm in rig.pipeline._desk.alarms]


def bare(rig: Rig, humidity: float, minutes: int) -> None:
    """One reading a minute, dated by the daemon's own clock."""
    for _ in range(minutes):
        rig.take(str(humidity).encode(), topic="bare/cork-cube/canopy/humidity")
        rig.now_ms += MINUTE_MS


@pytest.mark.parametrize("by_ms", [HOUR_MS, 30 * DAY_MS, -HOUR_MS, -30 * DAY_MS])
def test_a_jump_is_no_silence_and_hides_none(rig: Rig, by_ms: int) -> None:
    """A probe that was heard five minutes ago still was; five minutes more and it is silent."""
    rig.take(senml(NOON_MS / 1000, 23.0, 70.0))
    rig.pass_by(5)
    jump(rig, by_ms)
    rig.pass_by(SILENT_AFTER_MIN - 6)
    assert raised(rig) == []
    rig.pass_by(1)

    assert raised(rig) == [Condition.SILENT]


def test_a_clock_put_back_does_not_blind_a_probe(rig: Rig) -> None:
    """Readings dated by a clock that was ahead do not make later ones look old.

    The crash is raised after the on-delay of twenty minutes, and the five that readings may lie
    ahead.
    """
    bare(rig, 70.0, 5)
    jump(rig, -6 * HOUR_MS)
    bare(rig, 45.0, 28)

    assert raised(rig) == [Condition.LOW]


def test_a_clock_put_back_within_the_on_delay(rig: Rig) -> None:
    """The delay begins anew; it does not wait for the clock to come round."""
    bare(rig, 45.0, 10)
    jump(rig, -6 * HOUR_MS)
    assert raised(rig) == []
    bare(rig, 45.0, 28)

    assert raised(rig) == [Condition.LOW]


def test_a_clock_put_back_while_an_alarm_stands(rig: Rig) -> None:
    """It stands on, once, and is over when the air is well again."""
    bare(rig, 45.0, 22)
    jump(rig, -6 * HOUR_MS)
    bare(rig, 45.0, 30)
    assert raised(rig) == [Condition.LOW]
    (alarm,) = rig.pipeline._desk.alarms
    rig.pipeline.acknowledge(alarm.id, "test", rig.now_ms)
    bare(rig, 75.0, 12)

    assert raised(rig) == []


def test_a_start_with_a_clock_that_was_ahead(rig: Rig) -> None:
    """The same holds when the clock was put back while dewkeep was away."""
    bare(rig, 45.0, 10)
    rig.now_ms -= 6 * HOUR_MS
    rig.pipeline = rig.new_pipeline()
    bare(rig, 45.0, 28)

    assert raised(rig) == [Condition.LOW]


def test_a_night_in_another_century_costs_no_history(rig: Rig) -> None:
    """What is kept for two years is counted from the newest reading, not from a wrong clock."""
    rig.take(senml(NOON_MS / 1000 - 3600, 23.0, 70.0), senml(NOON_MS / 1000, 23.0, 70.0))
    rig.now_ms += 70 * 365 * DAY_MS
    rig.pipeline.forget(rig.now_ms)

    (series,) = {key for key in rig.readings.known_series() if key.quantity == "humidity"}
    assert len(rig.readings.track(series, 0, rig.now_ms)) == 2


def test_the_loop_notices_by_the_steady_clock(rig: Rig, caplog: pytest.LogCaptureFixture) -> None:
    """Both clocks running on is no jump, however far; the wall clock alone is one."""
    caplog.set_level(logging.WARNING)
    steady = [1000.0]
    loop = IngestLoop(rig.link, rig.pipeline, lambda: rig.now_ms, lambda: steady[0])
    rig.take(senml(NOON_MS / 1000, 23.0, 70.0))
    loop.start()
    rig.link.send(CANOPY, b"x")
    rig.link.wait_acknowledged()
    rig.now_ms += 3 * DAY_MS
    eventually(lambda: "the clock jumped by +259200 s" in caplog.text, "it is noticed")
    assert loop.ask(lambda pipeline, _now: pipeline._desk.alarms).result(20) == []
    loop.stop()

    assert caplog.text.count("the clock jumped") == 1
    assert rfc3339(rig.now_ms).startswith("2026-11-23")


def test_a_jump_in_the_middle_of_a_turn(rig: Rig, caplog: pytest.LogCaptureFixture) -> None:
    """Whatever a turn still does goes by the clock as it was, so nobody seems silent."""
    caplog.set_level(logging.WARNING)
    steady = [1000.0]
    loop = IngestLoop(rig.link, rig.pipeline, lambda: rig.now_ms, lambda: steady[0])
    rig.take(senml(NOON_MS / 1000, 23.0, 70.0))
    loop.start()

    def jump_now(_pipeline: object, _now_ms: int) -> None:
        rig.now_ms += HOUR_MS

    loop.ask(jump_now).result(20)
    eventually(lambda: "the clock jumped by +3600 s" in caplog.text, "it is noticed")
    rig.link.send(CANOPY, senml(NOON_MS / 1000 + 60, 23.0, 70.0))
    rig.link.wait_acknowledged()

    assert loop.ask(lambda pipeline, _now: pipeline._desk.alarms).result(20) == []
    loop.stop()
