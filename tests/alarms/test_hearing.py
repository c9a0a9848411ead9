"""No connection to the broker: one alarm, and nobody else is called silent."""

from typing import TYPE_CHECKING

from monitor.alarms.desk import AlarmDesk
from monitor.alarms.model import BROKER, Priority, State
from monitor.setup.alarming import AlarmSettings
from monitor.times import MINUTE_MS
from tests.alarms.conftest import Reading

if TYPE_CHECKING:
    from tests.alarms.conftest import Saved, World

MINUTE = MINUTE_MS
MANY = tuple(f"box-{n}" for n in range(20))


def ticks(
    desk: AlarmDesk, saved: "Saved", start: float, end: float, *, connected: bool
) -> list[tuple[float, str, str]]:
    """Time passes in steps of half a minute; what happened, with the minute."""
    told: list[tuple[float, str, str]] = []
    minute = start
    while minute <= end:
        changes = desk.tick(round(minute * MINUTE), broker_connected=connected)
        told += [(minute, *each) for each in saved.keep(desk, changes)]
        minute += 0.5
    return told


def test_a_lost_broker_is_one_alarm_not_forty(world: "type[World]", store: "type[Saved]") -> None:
    """Forty probes of which nothing can be heard: the broker is told, and none of them is."""
    saved, here = store(), world(places=MANY)
    desk = here.desk(saved)
    assert ticks(desk, saved, 0, 3, connected=True) == []

    assert ticks(desk, saved, 4, 64, connected=False) == [(9, "raised", "_daemon.broker")]
    (alarm,) = desk.alarms
    assert (alarm.point, alarm.priority, alarm.zone) == (BROKER, Priority.CRITICAL, None)
    assert (alarm.since_ms, alarm.raised_at_ms) == (4 * MINUTE, 9 * MINUTE)

    # Back again: every probe has its five minutes to be heard, and not a second more.
    assert ticks(desk, saved, 65, 69.5, connected=True) == [(65, "returned", "_daemon.broker")]
    silent = ticks(desk, saved, 70, 70, connected=True)
    assert len(silent) == 40
    assert {told[:2] for told in silent} == {(70, "raised")}


def test_a_short_loss_is_not_told_and_counts_for_no_ones_silence(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Silence is the time in which a probe could have been heard."""
    saved, here = store(), world(probes=("canopy",))
    desk = here.desk(saved)
    assert ticks(desk, saved, 0, 3.5, connected=True) == []
    assert ticks(desk, saved, 4, 7.5, connected=False) == []
    assert ticks(desk, saved, 8, 8.5, connected=True) == []

    assert ticks(desk, saved, 9, 9, connected=True) == [(9, "raised", "cork-cube.canopy.silent")]


def test_a_connection_that_comes_and_goes_hides_no_silent_probe(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A minute with a connection and a minute without: after five of the former it is told."""
    saved, here = store(), world(probes=("canopy",))
    desk = here.desk(saved)
    told: list[tuple[float, str, str]] = []
    for start in range(0, 20, 2):
        told += ticks(desk, saved, start, start + 0.5, connected=True)
        told += ticks(desk, saved, start + 1, start + 1.5, connected=False)

    assert told == [(10, "raised", "cork-cube.canopy.silent")]


def test_a_probe_heard_while_the_connection_was_counted_lost_is_not_ahead_of_time(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A message that came in after the connection was lost counts from when it came in."""
    saved, here = store(), world(probes=("canopy",))
    desk = here.desk(saved)
    ticks(desk, saved, 0, 0, connected=False)
    here.feed(desk, saved, [Reading(0, 70)], now_ms=2 * MINUTE)
    ticks(desk, saved, 3, 3, connected=True)

    told = ticks(desk, saved, 3.5, 8, connected=True)
    assert told == [(8, "raised", "cork-cube.canopy.silent")]


def test_a_probe_that_was_silent_before_stays_so(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Its own alarm stands through the outage and is not told again after it."""
    saved, here = store(), world(probes=("canopy",))
    desk = here.desk(saved)
    ticks(desk, saved, 0, 5, connected=True)
    ticks(desk, saved, 6, 20, connected=False)
    told = ticks(desk, saved, 21, 60, connected=True)

    assert told == [(21, "returned", "_daemon.broker")]
    assert {str(alarm.point): alarm.state for alarm in desk.alarms} == {
        "cork-cube.canopy.silent": State.UNACKNOWLEDGED,
        "_daemon.broker": State.RETURNED,
    }


def test_a_restart_in_an_outage_goes_on_with_it(world: "type[World]", store: "type[Saved]") -> None:
    """It is not told twice, and its end is told; a loss that was not told yet begins anew."""
    saved, here = store(), world(AlarmSettings(broker_on_delay_s=60))
    desk = here.desk(saved)
    ticks(desk, saved, 0, 1, connected=False)
    desk = here.desk(saved, now_ms=2 * MINUTE)
    assert ticks(desk, saved, 2, 10, connected=False) == []
    assert ticks(desk, saved, 11, 11, connected=True) == [(11, "returned", "_daemon.broker")]

    ticks(desk, saved, 12, 12.5, connected=False)
    desk = here.desk(saved, now_ms=600 * MINUTE)
    assert ticks(desk, saved, 600, 600.5, connected=False) == []
    assert [told[:2] for told in ticks(desk, saved, 601, 603, connected=False)] == [
        (601, "replaced"),
        (601, "raised"),
    ]


def test_other_rules_do_not_mend_the_connection(world: "type[World]", store: "type[Saved]") -> None:
    """A set-up that is changed during a loss keeps its beginning."""
    saved, here = store(), world()
    desk = here.desk(saved)
    ticks(desk, saved, 1, 3, connected=False)
    desk, changes = desk.rebuilt(world(places=MANY).rules, 4 * MINUTE)
    saved.save(changes)

    assert ticks(desk, saved, 5, 6, connected=False) == [(6, "raised", "_daemon.broker")]
    assert desk.alarms[0].since_ms == MINUTE
