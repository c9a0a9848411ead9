"""Who is told of what, and when."""

import datetime as dt
import json
import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import get_args
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms import states
from monitor.alarms.model import Alarm, Because, Priority, State
from monitor.alarms.notices import call, escalation_key
from monitor.alarms.policy import (
    LIMITED_MS,
    Due,
    due_after,
    due_by_time,
    due_escalations,
    seen_to,
)
from monitor.alarms.states import Change
from monitor.setup.channels import Channel
from monitor.setup.priority import PriorityName
from monitor.store.rows import Told
from tests.alarms.telling import MINUTE, NOTHING, SCRIBE, T, channel, dry, remembered

PHONE = channel()
GRAVER = "cork-cube.canopy.humidity.critical-low"


def keys(due: Due) -> list[tuple[str, str]]:
    """What is put in line, and where."""
    return [(notice.channel, notice.idempotency_key) for notice in due.notices]


def after(
    events: Sequence[Change], *channels: Channel, told: Told = NOTHING, now_ms: int = T
) -> list[tuple[str, str]]:
    """What a step calls for."""
    return keys(due_after(events, channels, told, SCRIBE, now_ms))


def by_time(
    alarms: Sequence[Alarm], *channels: Channel, told: Told = NOTHING, now_ms: int = T
) -> list[tuple[str, str]]:
    """What time calls for."""
    return keys(due_by_time(alarms, channels, told, SCRIBE, now_ms))


def raised(number: int = 0, priority: Priority = Priority.WARNING) -> Alarm:
    """An alarm that calls."""
    return states.raised(dry(number, priority), T + number).alarm


# -- what a step calls for ----------------------------------------------------------------------


def test_each_channel_gets_its_own_notice() -> None:
    """Two channels, two entries, under the same key."""
    event = states.raised(dry(), T)
    key = f"{event.alarm.id}/raised"

    assert after([event], PHONE, channel("mail")) == [("phone", key), ("mail", key)]


@pytest.mark.parametrize(
    ("from_priority", "told"),
    [
        ("critical", [Priority.CRITICAL]),
        ("warning", [Priority.CRITICAL, Priority.WARNING]),
        ("advice", [Priority.CRITICAL, Priority.WARNING, Priority.ADVICE]),
    ],
)
def test_a_channel_gets_what_is_urgent_enough(
    from_priority: PriorityName, told: list[Priority]
) -> None:
    """Its own priority and all above it."""
    events = [states.raised(dry(n, priority), T) for n, priority in enumerate(Priority)]
    phone = channel(from_priority=from_priority)

    notices = due_after(events, [phone], NOTHING, SCRIBE, T).notices

    assert [json.loads(notice.body)["priority"] for notice in notices] == told


def test_every_priority_can_be_chosen_for_a_channel() -> None:
    """The words of the settings are those of alarms."""
    assert set(get_args(PriorityName)) == set(Priority)


def test_what_needs_no_one_is_not_told() -> None:
    """Neither an acknowledgement nor a return, nor an alarm that was quiet from the start."""
    alarm = raised()
    quiet = [
        states.acknowledged(alarm, "keeper", T + 1),
        states.returned(alarm, T + 1),
        states.suppressed(dry(), GRAVER, T),
        states.removed(dry(), "keeper", T),
        states.raised(replace(dry(), state=State.SHELVED, returned_at_ms=T - 1), T),
    ]

    assert after(quiet, PHONE) == []


def test_an_alarm_that_the_same_step_silences_is_not_told() -> None:
    """Of two alarms for one crash in one batch only the graver leaves."""
    event = states.raised(dry(), T)

    assert after([event, states.suppressed(event.alarm, GRAVER, T)], PHONE) == []


def test_an_alarm_that_another_calls_for_is_not_told() -> None:
    """Of a group the first-out alarm leaves, whatever time it is; who is released is told."""
    grouped = states.raised(dry(), T, group="cork-cube.canopy.humidity.low.1")
    over = states.returned(grouped.alarm, T + 1)
    phone = channel(tell_return=True)
    assert after([grouped], phone) == after([over], phone) == []
    assert by_time([grouped.alarm, over.alarm], phone) == []

    released = states.released(grouped.alarm, T + 1)
    assert after([released], phone) == [("phone", f"{grouped.alarm.id}/raised")]


def test_an_alarm_that_comes_to_stand_on_its_own_is_told() -> None:
    """When the graver one is over, the keeper hears of the one that remains, but not twice."""
    silent = states.suppressed(dry(), GRAVER, T).alarm
    event = states.unsuppressed(silent, T + 1)
    key = ("phone", f"{silent.id}/raised")

    assert after([event], PHONE) == [key]
    assert after([event], PHONE, told=remembered({key: T})) == []


def test_a_crash_that_is_over_within_one_batch_is_told_with_its_end() -> None:
    """Readings that come late in bulk still tell what happened, as it stands now, in one notice."""
    event = states.raised(dry(), T)
    over = states.returned(event.alarm, T + MINUTE)
    phone = channel(tell_return=True)

    (notice,) = due_after([event, over], [phone], NOTHING, SCRIBE, T + MINUTE).notices

    assert notice.kind == "raised"
    assert json.loads(notice.body)["state"] == "returned-unacknowledged"


def test_the_end_of_a_shelf_is_told_again() -> None:
    """Who shelves asks to be told again if the condition still holds then: each time."""
    alarm = raised()
    told = {("phone", f"{alarm.id}/raised"): T}
    for n in (1, 2):
        alarm = states.shelved(alarm, T + 2 * n, "ada", T + 2 * n - 1).alarm
        event = states.unshelved(alarm, T + 2 * n)
        key = ("phone", f"{alarm.id}/recalled/{n}")

        assert after([event], PHONE, told=remembered(told)) == [key]
        told[key] = T
        alarm = event.alarm


@pytest.mark.parametrize(
    "act",
    [
        lambda alarm: states.acknowledged(alarm, "ada", T + 1),
        lambda alarm: states.shelved(alarm, T + MINUTE, "ada", T + 1),
        lambda alarm: states.removed(alarm, "ada", T + 1, "ada"),
        lambda alarm: states.suppressed(alarm, "ada", T + 1, "ada", Because.MAINTENANCE),
    ],
)
def test_who_silences_an_alarm_has_seen_to_it(act: Callable[[Alarm], Change]) -> None:
    """As has who acknowledges it."""
    assert seen_to([act(raised())]) == {raised().id: "ada"}


def test_nobody_has_seen_to_what_changes_by_itself() -> None:
    """Raised, over, eclipsed by a graver one, or called for anew when a keeper ends a shelf."""
    alarm = raised()
    shelved = states.shelved(alarm, T + MINUTE, "ada", T + 1).alarm
    by_itself = [
        states.returned(alarm, T + 1),
        states.suppressed(alarm, "critical-low", T + 1),
        states.unshelved(shelved, T + 2, "ada"),
    ]

    assert seen_to(by_itself) == {}


# -- returns ------------------------------------------------------------------------------------


def test_a_return_is_told_where_it_is_wanted_and_the_alarm_was_told() -> None:
    """By the alarm itself or by its escalation; elsewhere nobody would know what is over."""
    alarm = raised()
    told = remembered({("phone", call(alarm).key): T, ("vet", escalation_key(alarm, "vet")): T})
    channels = (
        channel("phone", tell_return=True),
        channel("vet", tell_return=True),
        channel("quiet", tell_return=True),
        channel("mail"),
    )
    key = f"{alarm.id}/returned"

    unseen = states.returned(alarm, T + 1)
    seen = states.returned(states.acknowledged(alarm, "ada", T + 1).alarm, T + 2)
    for event in (unseen, seen):
        assert after([event], *channels, told=told) == [("phone", key), ("vet", key)]


def test_a_return_wakes_nobody() -> None:
    """In quiet hours, and beyond the limit, it is left out for good."""
    alarm = raised()
    told = {("phone", call(alarm).key): T}
    event = states.returned(alarm, T + 1)
    night = {"from": "00:00", "to": "23:59", "timezone": "UTC"}

    assert after([event], channel(tell_return=True, quiet=night), told=remembered(told)) == []
    limited = channel(tell_return=True, most_per_hour=1)
    assert after([event], limited, told=remembered(told, phone=1)) == []
    assert by_time([event.alarm], limited, told=remembered(told)) == []


# -- quiet hours --------------------------------------------------------------------------------

LISBON = ZoneInfo("Europe/Lisbon")
NIGHT = {"from": "23:00", "to": "07:00", "below": "critical", "timezone": "Europe/Lisbon"}


def at(text: str, fold: int = 0) -> int:
    """A wall-clock time in Lisbon."""
    when = dt.datetime.fromisoformat(text).replace(tzinfo=LISBON, fold=fold)
    return round(when.timestamp() * 1000)


def test_what_is_held_over_night_is_told_in_the_morning() -> None:
    """Once, at the end of the quiet hours, as it stands by then; what is critical goes at once."""
    phone = channel(quiet=NIGHT)
    crash = states.raised(dry(), T)
    grave = states.raised(dry(1, Priority.CRITICAL), T)
    night, morning = at("2026-11-30 02:00"), at("2026-11-30 07:00")

    assert after([crash, grave], phone, now_ms=night) == [("phone", f"{grave.alarm.id}/raised")]
    open_alarms = [states.returned(crash.alarm, T + MINUTE).alarm]
    assert by_time(open_alarms, phone, now_ms=morning - 1) == []
    due = due_by_time(open_alarms, [phone], NOTHING, SCRIBE, morning)

    assert keys(due) == [("phone", f"{crash.alarm.id}/raised")]
    assert json.loads(due.notices[0].body)["state"] == "returned-unacknowledged"
    told = remembered(dict.fromkeys(keys(due), morning))
    assert by_time(open_alarms, phone, told=told, now_ms=morning + 1) == []


@pytest.mark.parametrize(
    ("begin", "end", "hours"),
    [
        ("2026-03-28 23:00", "2026-03-29 07:00", 7),  # clocks go forward at 01:00
        ("2026-10-24 23:00", "2026-10-25 07:00", 9),  # and back at 02:00
        ("2026-11-29 23:00", "2026-11-30 07:00", 8),
    ],
)
def test_a_night_is_as_long_as_the_clock_makes_it(begin: str, end: str, hours: int) -> None:
    """Something held is told at 07:00 on the wall, whatever the clock did in between."""
    phone = channel(quiet=NIGHT)
    start, stop = at(begin), at(end)

    assert stop - start == hours * 60 * MINUTE
    told = [t for t in range(start, stop + 1, MINUTE) if by_time([raised()], phone, now_ms=t)]
    assert told == [stop]


def test_what_a_keeper_dealt_with_by_night_is_not_told_in_the_morning() -> None:
    """Acknowledged, shelved or over: there is nothing left to say."""
    alarm = raised()
    seen = states.acknowledged(alarm, "ada", T + 1).alarm
    dealt_with = [
        seen,
        states.shelved(alarm, T + 5, "ada", T + 1).alarm,
        states.suppressed(alarm, GRAVER, T + 1).alarm,
        states.returned(seen, T + 2).alarm,
    ]

    assert by_time(dealt_with, channel(quiet=NIGHT), now_ms=at("2026-11-30 08:00")) == []


def test_a_new_channel_is_told_what_still_waits() -> None:
    """Who is added in the middle of a crash hears of it."""
    alarm = raised()
    told = remembered({("phone", call(alarm).key): T})

    assert by_time([alarm], PHONE, channel("new"), told=told) == [("new", call(alarm).key)]


# -- limits -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lately", "arriving", "singly", "summed"),
    [
        (0, 5, 5, 0),
        (0, 6, 4, 2),
        (0, 40, 4, 36),
        (3, 2, 2, 0),
        (3, 3, 1, 2),
        (4, 1, 1, 0),
        (4, 7, 0, 7),
        (5, 1, 0, 0),
        (9, 3, 0, 0),
    ],
)
def test_a_limit_of_five_an_hour(lately: int, arriving: int, singly: int, summed: int) -> None:
    """The last place within the limit goes to a summary of all the rest; beyond it they wait."""
    phone = channel(most_per_hour=5)
    events = [states.raised(dry(n), T) for n in range(arriving)]

    due = due_after(events, [phone], remembered({}, phone=lately), SCRIBE, T)

    assert Counter(notice.kind for notice in due.notices) == Counter(
        {"raised": singly, "summary": min(summed, 1)}
    )
    assert len(due.covered) == summed
    if summed:
        assert json.loads(due.notices[-1].body)["alarms"] == summed
        assert {key for _, key in due.covered}.isdisjoint(key for _, key in keys(due))


def test_critical_alarms_are_never_limited() -> None:
    """They all leave, first, and take the places of others."""
    phone = channel(most_per_hour=3)
    events = [
        *(states.raised(dry(n), T) for n in range(4)),
        *(states.raised(dry(10 + n, Priority.CRITICAL), T) for n in range(6)),
    ]

    notices = due_after(events, [phone], remembered({}, phone=3), SCRIBE, T).notices

    assert [json.loads(notice.body)["priority"] for notice in notices] == ["critical"] * 6


def test_the_more_urgent_and_older_are_told_singly() -> None:
    """A summary speaks for the rest and takes the priority of the gravest in it."""
    phone = channel(from_priority="advice", most_per_hour=3)
    events = [
        states.raised(dry(1, Priority.ADVICE), T),
        states.raised(dry(4), T),
        states.raised(dry(3), T),
        states.raised(dry(2), T),
    ]

    notices = due_after(events, [phone], NOTHING, SCRIBE, T).notices

    assert [notice.idempotency_key.partition(".low.")[2] for notice in notices[:2]] == [
        f"{T + 2}/raised",
        f"{T + 3}/raised",
    ]
    assert json.loads(notices[2].body)["priority"] == "warning"


def test_what_the_limit_held_is_told_when_it_gives_way() -> None:
    """One alarm as itself, several as one summary."""
    phone = channel(most_per_hour=1)

    assert by_time([raised()], phone, told=remembered({}, phone=1)) == []
    assert by_time([raised()], phone) == [("phone", call(raised()).key)]
    assert by_time([raised(1), raised(2)], phone) == [("phone", f"summary/{T}/{raised(1).id}")]


# -- escalation ---------------------------------------------------------------------------------

CHAIN = (
    channel("phone", escalate_after_min=10, escalate_to="neighbour"),
    channel("neighbour", only_escalation=True, escalate_after_min=20, escalate_to="vet"),
    channel("vet", only_escalation=True),
)


def test_nobody_else_is_told_at_first() -> None:
    """A channel for escalations only waits its turn."""
    assert after([states.raised(dry(), T)], *CHAIN) == [("phone", call(raised()).key)]


@pytest.mark.parametrize(
    ("told_min_ago", "state", "due"),
    [
        ({}, State.UNACKNOWLEDGED, []),
        ({"phone": 9.99}, State.UNACKNOWLEDGED, []),
        ({"phone": 10}, State.UNACKNOWLEDGED, ["neighbour"]),
        ({"phone": 10}, State.ACKNOWLEDGED, []),
        ({"phone": 10}, State.RETURNED, []),
        ({"phone": 10}, State.SHELVED, []),
        ({"phone": 10}, State.SUPPRESSED, []),
        ({"phone": 600}, State.UNACKNOWLEDGED, ["neighbour"]),
        ({"phone": 29, "neighbour": 19}, State.UNACKNOWLEDGED, []),
        ({"phone": 30, "neighbour": 20}, State.UNACKNOWLEDGED, ["vet"]),
        ({"phone": 31, "neighbour": 21, "vet": 1}, State.UNACKNOWLEDGED, []),
    ],
)
def test_the_next_is_told_when_nobody_acknowledges(
    told_min_ago: dict[str, float], state: State, due: list[str]
) -> None:
    """Minutes count from what the channel before was told; only a standing alarm goes further."""
    alarm = replace(raised(), state=state, called_at_ms=T - 600 * MINUTE)
    told = {
        (name, call(alarm).key if name == "phone" else escalation_key(alarm, name)): round(
            T - minutes * MINUTE
        )
        for name, minutes in told_min_ago.items()
    }

    assert list(due_escalations([alarm], CHAIN, remembered(told), T)) == due


def test_a_recall_begins_anew() -> None:
    """Minutes before the end of a shelf do not count: the keeper had asked for quiet."""
    alarm = raised()
    told = {("phone", call(alarm).key): T}
    shelved = states.shelved(alarm, T + 60 * MINUTE, "ada", T + MINUTE).alarm
    again = states.unshelved(shelved, T + 60 * MINUTE).alarm
    told[("phone", call(again).key)] = T + 60 * MINUTE

    assert due_escalations([again], CHAIN, remembered(told), T + 69 * MINUTE) == {}
    assert list(due_escalations([again], CHAIN, remembered(told), T + 70 * MINUTE)) == ["neighbour"]


def test_minutes_under_a_graver_alarm_do_not_count() -> None:
    """An alarm that was told, then eclipsed, waits again from when it stands on its own."""
    alarm = raised()
    told = remembered({("phone", call(alarm).key): T})
    eclipsed = states.suppressed(alarm, GRAVER, T + MINUTE).alarm
    again = states.unsuppressed(eclipsed, T + 60 * MINUTE).alarm

    assert due_escalations([again], CHAIN, told, T + 69 * MINUTE) == {}
    assert list(due_escalations([again], CHAIN, told, T + 70 * MINUTE)) == ["neighbour"]


def test_an_escalation_heeds_the_next_channels_own_policy() -> None:
    """Its priority, its quiet hours and its limit are those of whoever is woken."""
    alarm = raised()
    told = {("phone", call(alarm).key): T}
    first = channel("phone", escalate_after_min=10, escalate_to="vet")
    night, morning = at("2026-11-30 02:00"), at("2026-11-30 07:00")
    key = ("vet", escalation_key(alarm, "vet"))

    def due(vet: Channel, now_ms: int, lately: int = 0) -> list[tuple[str, str]]:
        return by_time([alarm], first, vet, told=remembered(told, vet=lately), now_ms=now_ms)

    assert due(channel("vet", only_escalation=True, from_priority="critical"), morning) == []
    assert due(channel("vet", only_escalation=True, quiet=NIGHT), night) == []
    assert due(channel("vet", only_escalation=True, quiet=NIGHT), morning) == [key]
    assert due(channel("vet", only_escalation=True, most_per_hour=2), morning, lately=2) == []


def test_two_ways_to_one_channel_are_one_step() -> None:
    """Who is named by two channels is told once."""
    alarm = raised()
    mail = channel("mail", escalate_after_min=5, escalate_to="vet")
    phone = channel("phone", escalate_after_min=10, escalate_to="vet")
    told = remembered({(name, call(alarm).key): T for name in ("mail", "phone")})
    channels = (mail, phone, channel("vet", only_escalation=True))

    assert by_time([alarm], *channels, told=told, now_ms=T + 10 * MINUTE) == [
        ("vet", escalation_key(alarm, "vet"))
    ]


# -- all together -------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(8))
def test_nothing_is_told_twice_and_nothing_is_lost(seed: int) -> None:
    """Over a random day with quiet hours, limits, shelves and escalation, with an outbox's memory.

    Each key leaves at most once on a channel; each alarm that still waits for a keeper in the end
    has been told wherever it belongs, by itself or by a summary; nothing but critical alarms goes
    beyond the limit.
    """
    chance = random.Random(seed)  # noqa: S311 - scenarios
    channels = (
        channel("phone", most_per_hour=4, escalate_after_min=15, escalate_to="vet"),
        channel("mail", quiet=NIGHT | {"timezone": "UTC"}, tell_return=True),
        channel("vet", only_escalation=True, from_priority="critical"),
    )
    told: dict[tuple[str, str], int] = {}
    sent: list[tuple[str, str, int]] = []  # channel, priority, when
    alarms: dict[str, Alarm] = {}

    def put(due: Due, now_ms: int) -> None:
        for name, key in (*keys(due), *due.covered):
            assert (name, key) not in told
            told[name, key] = now_ms
        sent.extend(
            (notice.channel, json.loads(notice.body)["priority"], now_ms) for notice in due.notices
        )

    def memory(now_ms: int) -> Told:
        recent = Counter(name for name, _, at_ms in sent if at_ms > now_ms - LIMITED_MS)
        return Told(dict(told), recent)

    for minute in range(36 * 60):
        now_ms = T + minute * MINUTE
        events = list(_happens(chance, alarms, now_ms)) if minute < 24 * 60 else []
        alarms |= {event.alarm.id: event.alarm for event in events}
        put(due_after(events, channels, memory(now_ms), SCRIBE, now_ms), now_ms)
        open_alarms = [alarm for alarm in alarms.values() if not alarm.over]
        put(due_by_time(open_alarms, channels, memory(now_ms), SCRIBE, now_ms), now_ms)

    waiting = [each for each in alarms.values() if each.state is State.UNACKNOWLEDGED]
    assert waiting
    for alarm in waiting:
        assert ("phone", call(alarm).key) in told
        assert ("mail", call(alarm).key) in told
        critical = alarm.priority is Priority.CRITICAL
        assert (("vet", escalation_key(alarm, "vet")) in told) is critical
    phone = [(priority, at_ms) for name, priority, at_ms in sent if name == "phone"]
    for n, (priority, at_ms) in enumerate(phone):
        within = [each for each in phone[: n + 1] if each[1] > at_ms - LIMITED_MS]
        assert priority == "critical" or len(within) <= 4


def _happens(chance: random.Random, alarms: dict[str, Alarm], now_ms: int) -> list[Change]:
    """At most one thing in a minute."""
    open_alarms = [alarm for alarm in alarms.values() if not alarm.over]
    if chance.random() < 0.05:
        new = dry(now_ms - T, chance.choice(list(Priority)[:2]))
        return [states.raised(new, now_ms)]
    if not open_alarms or chance.random() < 0.9:
        return []
    alarm = chance.choice(open_alarms)
    match alarm.state, chance.random() < 0.5:
        case State.UNACKNOWLEDGED, True:
            return [states.returned(alarm, now_ms)]
        case State.UNACKNOWLEDGED, False if chance.random() < 0.5:
            return [states.shelved(alarm, now_ms + MINUTE, "ada", now_ms)]
        case ((State.UNACKNOWLEDGED | State.RETURNED), False):
            return [states.acknowledged(alarm, "ada", now_ms)]
        case State.ACKNOWLEDGED, True:
            return [states.returned(alarm, now_ms)]
        case State.SHELVED, _:
            return [states.unshelved(alarm, now_ms)]
    return []
