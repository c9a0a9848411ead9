"""The one thread that takes, keeps and acknowledges."""

import logging
import threading
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from monitor.errors import Conflict, StoreUnavailable
from monitor.ingest.pipeline import Pipeline
from monitor.quantities import Quantity
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import setup
from monitor.store.sqlite.state.setup import Place
from tests.support.publisher import senml
from tests.support.rig import CANOPY, NOON_MS, Rig
from tests.support.waiting import eventually

KEY = SeriesKey("cork-cube", "canopy", Quantity.TEMPERATURE)


def reading(number: int, temperature: float = 22.0) -> bytes:
    """One reading a minute."""
    return senml(NOON_MS / 1000 - 3600 + 60 * number, temperature, 70.0)


def kept(rig: Rig) -> list[float]:
    """All temperatures of the canopy."""
    values: list[float] = rig.readings.track(KEY, 0, NOON_MS + 1).value.tolist()
    return values


def test_what_is_kept_is_acknowledged_once_and_in_order(rig: Rig) -> None:
    """Each message, also one that holds nothing dewkeep can use."""
    with rig:
        sent = rig.link.send(CANOPY, reading(0), b"{broken", reading(1))
        rig.link.wait_acknowledged()
        assert kept(rig) == [22.0, 22.0]

    assert rig.link.acknowledged == sent


def test_a_device_is_heard_from_the_moment_it_is_set_up(tmp_path: Path) -> None:
    """No restart; moved to another probe its next reading is that one's, taken out nobody's."""
    rack = {"topic": "rack/{device}/state"}
    with Rig(tmp_path, settings={"source": [rack]}) as rig:
        with rig.database.reading() as connection:
            cube, room = (setup.get(connection, each).place for each in ("cork-cube", "back-room"))

        def given(place: Place, device: str | None) -> Place:
            probe = place.probe[0].model_copy(update={"device": device})
            return place.model_copy(update={"probe": (probe, *place.probe[1:])})

        def put(place: Place, device: str | None) -> None:
            changed = given(place, device)
            rig.ask(lambda pipeline, now_ms: pipeline.put_place(changed, "me", None, now_ms))

        for number, (place, device) in enumerate(
            [(room, None), (cube, "0x07"), (cube, None), (room, "0x07")]
        ):
            put(place, device)
            rig.send(reading(number, 20.0 + number), topic="rack/0x07/state")
        air = SeriesKey("back-room", "air", Quantity.TEMPERATURE)
        assert kept(rig) == [21.0]
        assert rig.readings.track(air, 0, NOON_MS + 1).value.tolist() == [23.0]
        says = [each.says for each in rig.rejects.recent()]
        assert says == ["no probe has the device '0x07'"] * 2
        with pytest.raises(Conflict, match="'0x07' is both back-room/air and cork-cube/canopy"):
            put(cube, "0x07")


def test_the_settings_word_on_a_device_cannot_be_contradicted(tmp_path: Path) -> None:
    """Nothing is changed; the same word is no contradiction."""
    rack = {"topic": "rack/{device}", "devices": {"0x07": "back-room/air"}}
    with Rig(tmp_path, settings={"source": [rack]}) as rig:
        with rig.database.reading() as connection:
            before = setup.everything(connection)
        (probe,) = before.enclosure[0].probe
        wrong = before.enclosure[0].model_copy(
            update={"probe": (probe.model_copy(update={"device": "0x07"}),)}
        )
        right = before.room[0].model_copy(
            update={"probe": (before.room[0].probe[0].model_copy(update={"device": "0x07"}),)}
        )
        with pytest.raises(Conflict, match="back-room/air in the settings and cork-cube/canopy"):
            rig.ask(lambda pipeline, now_ms: pipeline.put_place(wrong, "me", None, now_ms))
        rig.ask(lambda pipeline, now_ms: pipeline.put_place(right, "me", None, now_ms))
        with rig.database.reading() as connection:
            after = setup.everything(connection)

    assert after.enclosure == before.enclosure
    assert after.room == (right,)


def test_a_store_that_fails_holds_everything(rig: Rig, caplog: pytest.LogCaptureFixture) -> None:
    """Nothing is acknowledged while nothing can be kept; then all of it is, once."""
    with rig:
        rig.readings.down = True
        sent = rig.link.send(CANOPY, reading(0), reading(1))
        eventually(lambda: rig.readings.refused >= 3, "it is tried again and again")
        state = rig.loop.state()
        assert rig.link.acknowledged == []
        rig.readings.down = False
        rig.link.wait_acknowledged()
        rig.send(reading(2))
        assert rig.loop.state().store_says is None
        assert rig.loop.state().repeated_readings == 0
        assert kept(rig) == [22.0, 22.0, 22.0]

    assert (state.held_messages, state.store_says) == (2, "the disk is full")
    assert rig.link.acknowledged[:2] == sent
    assert len(rig.link.acknowledged) == 3
    told = [record.getMessage() for record in caplog.records if record.name.endswith("loop")]
    assert told == [
        "cannot store, holding on to what came: the disk is full",
        "storing again",
    ]


def test_an_engine_that_fails_holds_what_was_taken(rig: Rig) -> None:
    """It is taken once, acknowledged only when the engine has it, and keepers need not wait."""
    with rig:
        rig.readings.deaf = True
        sent = rig.link.send(CANOPY, reading(0), reading(1))
        eventually(lambda: rig.readings.refused >= 3, "it is tried again and again")
        assert rig.link.acknowledged == []
        assert rig.loop.state().held_messages == 2
        assert rig.ask(lambda pipeline, _now_ms: pipeline.repeated) == 0
        rig.readings.deaf = False
        rig.link.wait_acknowledged()
        assert kept(rig) == [22.0, 22.0]
        assert rig.pipeline.repeated == 0

    assert rig.link.acknowledged == sent


def test_a_failure_without_messages_lasts_until_it_is_over(
    rig: Rig, caplog: pytest.LogCaptureFixture
) -> None:
    """A turn that has nothing to store does not count as a success."""
    rig.readings.tidies = False
    with rig:
        eventually(lambda: rig.readings.refused >= 2, "it is tried again and again")
        state = rig.loop.state()
        rig.readings.tidies = True
        eventually(lambda: rig.loop.state().store_says is None, "it is over")

    assert state.store_says == "the disk is full"
    assert caplog.text.count("cannot store") == caplog.text.count("storing again") == 1


def test_one_message_that_dewkeep_fails_on_holds_up_no_other(
    rig: Rig, caplog: pytest.LogCaptureFixture
) -> None:
    """It is counted as a fault and acknowledged; what it held is in the log."""
    rig.readings.chokes_on = 66.6
    with rig:
        sent = rig.link.send(CANOPY, reading(0), reading(1, 66.6), reading(2), b"{broken")
        rig.link.wait_acknowledged()
        assert kept(rig) == [22.0, 22.0]
        assert rig.loop.state().mistakes == 1

    assert rig.link.acknowledged == sent
    assert rig.rejects.counts() == {"fault": 1, "malformed": 1}
    fault = next(each for each in rig.rejects.recent() if each.reason == "fault")
    assert "ZeroDivisionError" in fault.says
    assert '"v": 66.6' in caplog.text


def test_a_store_that_fails_in_the_middle_of_that_loses_nothing(rig: Rig) -> None:
    """What was taken singly so far is acknowledged, the rest held."""
    rig.readings.chokes_on = 66.6
    rig.readings.down_after = 3  # the batch, the first message, the second
    with rig:
        sent = rig.link.send(CANOPY, reading(0), reading(1, 66.6), reading(2), reading(3))
        eventually(lambda: rig.readings.refused, "it is down")
        held = rig.loop.state().held_messages
        rig.readings.down_after = None
        rig.link.wait_acknowledged()
        assert kept(rig) == [22.0, 22.0, 22.0]

    assert held == 2
    assert rig.link.acknowledged == sent
    assert rig.rejects.counts() == {"fault": 1}
    assert rig.pipeline.repeated == 0


def test_asked_from_another_thread_it_is_done_in_the_loops_own(rig: Rig) -> None:
    """The asker gets the answer, or the error that it caused."""

    def conflict(_pipeline: Pipeline, _now_ms: int) -> None:
        raise Conflict("it is over")

    with rig:
        name = rig.ask(lambda _pipeline, _now_ms: threading.current_thread().name)
        now = rig.ask(lambda _pipeline, now_ms: now_ms)
        failing = rig.loop.ask(conflict)
        with pytest.raises(Conflict, match="it is over"):
            failing.result(20)
        assert rig.loop.state().mistakes == 0

    assert (name, now) == ("ingest", NOON_MS)


def test_a_request_given_up_in_time_is_not_carried_out(rig: Rig) -> None:
    """Whoever was told to try again later finds nothing done twice."""
    done: list[str] = []
    with rig:
        rig.readings.down = True
        rig.link.send(CANOPY, reading(0))
        eventually(lambda: rig.readings.refused, "it is down")
        given_up = rig.loop.ask(lambda _pipeline, _now_ms: done.append("first"))
        assert given_up.cancel()
        rig.readings.down = False
        rig.ask(lambda _pipeline, _now_ms: done.append("second"))

    assert done == ["second"]


def test_a_loop_that_stops_leaves_nobody_waiting(rig: Rig) -> None:
    """Whether they asked before or after; unkept messages stay with the broker."""
    with rig:
        rig.readings.down = True
        rig.link.send(CANOPY, reading(0))
        eventually(lambda: rig.readings.refused, "it is down")
        waiting = [rig.loop.ask(_nothing) for _ in range(3)]
        rig.loop.stop()
        late = rig.loop.ask(_nothing)
        for future in (*waiting, late):
            with pytest.raises(StoreUnavailable, match="dewkeep is stopping"):
                future.result(20)
        assert not rig.loop.state().alive

    assert rig.link.closed
    assert rig.link.acknowledged == []


def test_those_who_ask_in_the_moment_it_stops_are_answered(rig: Rig) -> None:
    """Either way, but answered."""
    futures: list[Future[Any]] = []

    def keep_asking() -> None:
        for _ in range(2_000):
            futures.append(rig.loop.ask(_nothing))  # noqa: PERF401 - each of them as it comes

    with rig:
        asking = threading.Thread(target=keep_asking)
        asking.start()
        eventually(lambda: futures, "they began to ask")
        rig.loop.stop()
        asking.join()

    assert all(future.exception(20) is None or _refused(future) for future in futures)


def test_a_mistake_between_two_batches_does_not_end_the_watch(
    rig: Rig, caplog: pytest.LogCaptureFixture
) -> None:
    """It is counted, logged with where it happened, and the next messages are taken."""
    caplog.set_level(logging.ERROR)
    rig.readings.mistaken_tidying = True
    with rig:
        eventually(lambda: rig.loop.state().mistakes, "a mistake")
        rig.send(reading(0))
        rig.readings.mistaken_tidying = False
        assert rig.loop.state().alive

    assert "a turn of the ingest loop failed; going on" in caplog.text
    assert "ZeroDivisionError" in caplog.text


def _nothing(_pipeline: Pipeline, _now_ms: int) -> None:
    """Ask for nothing in particular."""


def _refused(future: Future[Any]) -> bool:
    return isinstance(future.exception(), StoreUnavailable)


def test_a_loop_that_only_fails_is_not_alive(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Turns that all end in a mistake are no sign of life, so that whoever watches can act."""
    monkeypatch.setattr("monitor.ingest.loop.DEAD_AFTER_S", 0.5)
    with rig:
        rig.send(reading(0))
        assert rig.loop.state().alive
        rig.readings.mistaken_tidying = True
        eventually(lambda: not rig.loop.state().alive, "it is told")
        rig.readings.mistaken_tidying = False
        eventually(lambda: rig.loop.state().alive, "and alive again")
