"""What is told gets into the outbox, with the alarm's own transaction and by the clock."""

import json
import logging
from pathlib import Path
from typing import Any

import pytest

from monitor.alarms import states
from monitor.alarms.model import Alarm
from monitor.alarms.states import Change
from monitor.ingest.telling import HOLD_MS, LOOK_EVERY_MS, Teller
from monitor.setup.settings import Settings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import explanations, links, outbox
from tests.alarms.telling import MINUTE, PLACES, T, channel, dry

PHONE = channel("phone", escalate_after_min=10, escalate_to="vet")
VET = channel("vet", only_escalation=True)


class Desk:
    """A teller with its database, as after a start of the daemon."""

    def __init__(self, path: Path, *channels: Any, public_url: str | None = None) -> None:
        self.database = Database(path)
        settings = Settings.model_validate(
            {"server": {"public_url": public_url}, "channel": channels}
        )
        with self.database.transaction() as connection:
            self.teller = Teller.load(connection, settings)

    def raise_alarm(self, number: int = 0, now_ms: int = T) -> Alarm:
        """An alarm is raised."""
        event = states.raised(dry(number), now_ms)
        with self.database.transaction() as connection:
            assert self.teller.after(connection, [event], PLACES, now_ms)
        return event.alarm

    def happen(self, *events: Change, now_ms: int) -> None:
        """More happens, in one transaction with what it calls for."""
        with self.database.transaction() as connection:
            self.teller.after(connection, events, PLACES, now_ms)

    def line(self) -> list[tuple[str, str]]:
        """What is still to leave: channel, and what follows the alarm in its key."""
        with self.database.reading() as connection:
            rows = connection.execute(
                "SELECT channel, idempotency_key FROM outbox WHERE waits ORDER BY id"
            ).fetchall()
        return [(name, key.partition("/")[2]) for name, key in rows]

    def deliver(self, name: str) -> None:
        """What is first in line of a channel arrives."""
        with self.database.transaction() as connection:
            entry = outbox.first(connection, name)
            assert entry is not None
            outbox.delivered(connection, entry.id, T)

    def by_time(self, *alarms: Alarm, now_ms: int) -> bool:
        """Time passes."""
        return self.teller.by_time(self.database, alarms, PLACES, now_ms)

    def waiting(self) -> list[tuple[str, str, str]]:
        """What has been put in line: channel, key, document."""
        with self.database.reading() as connection:
            return connection.execute(
                "SELECT channel, idempotency_key, body FROM outbox WHERE kind <> 'covered' "
                "ORDER BY id"
            ).fetchall()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the database is."""
    return tmp_path / "dewkeep.db"


def test_nothing_is_told_without_the_alarm(path: Path) -> None:
    """What was put in line goes with the transaction it was in."""
    desk = Desk(path, PHONE, VET)

    def fail() -> None:
        with desk.database.transaction() as connection:
            desk.teller.after(connection, [states.raised(dry(), T)], PLACES, T)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert desk.waiting() == []


def test_an_escalation_outlives_the_daemon(path: Path) -> None:
    """Stopped and started again before it is due: told once, on the minute, and never again."""
    alarm = Desk(path, PHONE, VET).raise_alarm()
    due_ms = T + 10 * MINUTE
    for run, now_ms in enumerate([due_ms - 1, due_ms, due_ms + MINUTE, due_ms + 60 * MINUTE]):
        desk = Desk(path, PHONE, VET)
        assert desk.by_time(alarm, now_ms=now_ms) is (run == 1)
        desk.database.close()

    told = [(name, key) for name, key, _ in Desk(path, PHONE, VET).waiting()]
    assert told == [("phone", f"{alarm.id}/raised"), ("vet", f"{alarm.id}/escalated/vet")]


def test_an_acknowledgement_ends_the_chain(path: Path) -> None:
    """Whatever was told before it."""
    desk = Desk(path, PHONE, VET)
    seen = states.acknowledged(desk.raise_alarm(), "ada", T + 1).alarm

    assert not desk.by_time(seen, now_ms=T + 60 * MINUTE)


def test_an_acknowledgement_calls_off_what_waits(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """On every channel that has not had it, with a line in the log; another alarm's call stays."""
    caplog.set_level(logging.INFO)
    desk = Desk(path, PHONE, VET, channel("mail"))
    alarm = desk.raise_alarm()
    assert desk.by_time(alarm, now_ms=T + 10 * MINUTE)
    desk.raise_alarm(1, now_ms=T + 11 * MINUTE)
    desk.deliver("mail")
    desk.happen(states.acknowledged(alarm, "ada", T + 12 * MINUTE), now_ms=T + 12 * MINUTE)

    assert desk.line() == [("phone", "raised"), ("mail", "raised")]
    said = [each.message for each in caplog.records]
    assert f"channel phone: {alarm.id}/raised: called off, ada has seen to it" in said
    assert f"channel vet: {alarm.id}/escalated/vet: called off, ada has seen to it" in said
    assert len(said) == 2


def test_an_acknowledgement_that_was_not_kept_calls_nothing_off(path: Path) -> None:
    """Killed before the commit, both are gone, and the call leaves after the next start."""
    desk = Desk(path, channel())
    alarm = desk.raise_alarm()

    def fail() -> None:
        with desk.database.transaction() as connection:
            event = states.acknowledged(alarm, "ada", T + 1)
            desk.teller.after(connection, [event], PLACES, T + 1)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    desk.database.close()
    assert Desk(path, channel()).line() == [("phone", "raised")]


def test_what_was_called_off_stays_away_over_a_restart(path: Path) -> None:
    """Nothing puts it back in line, neither a start nor time."""
    desk = Desk(path, PHONE, VET)
    seen = states.acknowledged(desk.raise_alarm(), "ada", T + 1)
    desk.happen(seen, now_ms=T + 1)
    desk.database.close()
    again = Desk(path, PHONE, VET)

    assert not again.by_time(seen.alarm, now_ms=T + 60 * MINUTE)
    assert again.line() == []


@pytest.mark.parametrize("arrived", [True, False])
@pytest.mark.parametrize("over_first", [True, False])
def test_the_end_is_told_where_the_call_arrived(
    path: Path, arrived: bool, over_first: bool
) -> None:
    """Whether the alarm was over before the keeper saw it or after."""
    desk = Desk(path, channel(tell_return=True))
    alarm = desk.raise_alarm()
    if arrived:
        desk.deliver("phone")
    for n, act in enumerate([states.returned, _seen] if over_first else [_seen, states.returned]):
        event = act(alarm, T + 1 + n)
        desk.happen(event, now_ms=T + 1 + n)
        alarm = event.alarm

    assert desk.line() == ([("phone", "returned")] if arrived else [])


def _seen(alarm: Alarm, at_ms: int) -> Change:
    return states.acknowledged(alarm, "ada", at_ms)


def test_a_shelf_calls_off_and_its_end_calls_anew(path: Path) -> None:
    """An escalation too that was called off comes again: nobody has been told by it yet."""
    desk = Desk(path, PHONE, VET)
    alarm = desk.raise_alarm()
    assert desk.by_time(alarm, now_ms=T + 10 * MINUTE)
    shelved = states.shelved(alarm, T + 20 * MINUTE, "ada", T + 11 * MINUTE)
    desk.happen(shelved, now_ms=T + 11 * MINUTE)
    assert desk.line() == []

    back = states.unshelved(shelved.alarm, T + 20 * MINUTE)
    desk.happen(back, now_ms=T + 20 * MINUTE)
    assert desk.line() == [("phone", "recalled/1")]
    assert desk.by_time(back.alarm, now_ms=T + 30 * MINUTE)
    assert sorted(desk.line()) == [("phone", "recalled/1"), ("vet", "escalated/vet")]
    assert not desk.by_time(back.alarm, now_ms=T + 60 * MINUTE)


def test_the_clock_is_not_asked_for_every_tick(path: Path) -> None:
    """Every few seconds is soon enough; a clock that was put back is no hindrance."""
    desk = Desk(path, PHONE, VET)
    alarm = desk.raise_alarm()
    due_ms = T + 10 * MINUTE
    assert not desk.by_time(alarm, now_ms=due_ms - LOOK_EVERY_MS + 1)
    assert not desk.by_time(alarm, now_ms=due_ms)
    assert desk.by_time(alarm, now_ms=due_ms + 1)

    other = desk.raise_alarm(1, now_ms=T - 24 * 60 * MINUTE)
    assert desk.by_time(other, now_ms=T - 23 * 60 * MINUTE)


def test_a_summary_and_what_it_speaks_for_are_remembered(path: Path) -> None:
    """Over a restart too: none of it is told again, singly or in sum."""
    phone = channel(most_per_hour=2)
    desk = Desk(path, phone)
    events = [states.raised(dry(n), T) for n in range(9)]
    with desk.database.transaction() as connection:
        desk.teller.after(connection, events, PLACES, T)
    desk.database.close()
    again = Desk(path, phone)

    alarms = [event.alarm for event in events]
    assert [key for _, key, _ in again.waiting()] == [
        f"{alarms[0].id}/raised",
        f"summary/{T}/{alarms[1].id}",
    ]
    assert not again.by_time(*alarms, now_ms=T + 600 * MINUTE)


def test_a_notice_holds_a_link_that_is_good(path: Path) -> None:
    """Made with the database's own secret, for this alarm, another in every notice."""
    desk = Desk(path, channel(), channel("mail"), public_url="https://dewkeep.example/")
    alarm = desk.raise_alarm()
    urls = [json.loads(body)["acknowledge_url"] for _, _, body in desk.waiting()]
    with desk.database.reading() as connection:
        key = links.known_secret(connection)

    assert len(set(urls)) == 2
    for url in urls:
        base, alarm_id, ticket = url.rsplit("/", 2)
        assert (base, alarm_id) == ("https://dewkeep.example/acknowledge", alarm.id)
        assert links.read(key, alarm.id, ticket) is not None


def test_a_humidity_alarm_waits_for_its_cause(path: Path) -> None:
    """A few seconds, unless the cause is known already; what is told later carries it at once."""
    desk = Desk(path, PHONE, VET)
    alarm = desk.raise_alarm()
    with desk.database.transaction() as connection:
        held = outbox.first(connection, "phone")
        explanations.put(connection, alarm.id, T, '{"cause": {"kind": "drying"}}')
        explanations.put(connection, dry(1).id, T, '{"cause": {"kind": "warming"}}')
    desk.raise_alarm(1)
    assert desk.by_time(alarm, now_ms=T + 10 * MINUTE)
    with desk.database.reading() as connection:
        known, later = outbox.first(connection, "phone"), outbox.first(connection, "vet")

    assert held is not None
    assert known is not None
    assert later is not None
    assert held.next_attempt_ms == T + HOLD_MS
    assert json.loads(held.notice.body)["cause"] is None
    assert known.next_attempt_ms == T
    assert json.loads(known.notice.body)["cause"] == {"kind": "warming"}
    assert later.next_attempt_ms == T + 10 * MINUTE
    assert json.loads(later.notice.body)["cause"] == {"kind": "drying"}


def test_without_a_public_address_there_are_no_links(path: Path) -> None:
    """Nor a secret that they would be signed with."""
    desk = Desk(path, PHONE, VET)
    desk.raise_alarm()

    assert "acknowledge_url" not in desk.waiting()[0][2]
    with desk.database.reading() as connection:
        assert links.known_secret(connection) is None


def test_without_channels_nothing_is_kept(path: Path) -> None:
    """Nobody is there to be told."""
    desk = Desk(path)
    with desk.database.transaction() as connection:
        assert not desk.teller.after(connection, [states.raised(dry(), T)], PLACES, T)
    assert not desk.by_time(states.raised(dry(), T).alarm, now_ms=T + MINUTE)

    with desk.database.reading() as connection:
        assert outbox.told(connection, [dry().id], 0).at_ms == {}
