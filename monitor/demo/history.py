"""The month before: run through dewkeep's own pipeline, as if it had watched all along."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice

from monitor.demo.wire import MISTED, Report, reports
from monitor.ingest.link import Message
from monitor.ingest.live import Hub
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.setup.journal import ENTRY, Source
from monitor.setup.settings import Settings
from monitor.simulation import Event, Simulator
from monitor.simulation.demo_room import SEED, BackRoom
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import journal, setup
from monitor.store.sqlite.state.setup import Place
from monitor.times import DAY_MS

WHO = "demo"
BATCH = 2_000
STEP_S = 30.0


def simulator_of(room: BackRoom) -> Simulator:
    """The room as a simulation that begins before the record does.

    A new build lives through its whole age, however short the record; the others get a day for
    their air to become what it is.
    """
    return Simulator(
        room.scenario, min(room.start_ms, *_built(room).values()) - DAY_MS, STEP_S, SEED
    )


def fill_in(
    settings: Settings,
    database: Database,
    simulator: Simulator,
    room: BackRoom,
    places: Sequence[Place],
    passed: Callable[[int], None],
) -> None:
    """Simulate up to the end of the story and take everything in that is not there yet.

    A new build is set up when it is built: before that, its probes would be missed.

    Args:
        settings: those of the daemon.
        database: where to.
        simulator: what :func:`simulator_of` made.
        room: the story.
        places: the set-up; what is set up already is left as it is.
        passed: told how many simulated milliseconds each stretch was.
    """
    readings = SqliteReadings(database)
    kept_until_ms = max((latest.at_ms for latest in readings.latest().values()), default=0)
    begin_ms = max(room.start_ms, kept_until_ms)
    with database.reading() as connection:
        there = {place.id for place in setup.everything(connection).places}
    built = _built(room)
    waiting = [
        (max(begin_ms, built.get(place.id, 0)), place) for place in places if place.id not in there
    ]
    pipeline = Pipeline(
        database,
        readings,
        settings,
        load_library(),
        Hub(),
        Rejects(),
        told=lambda: None,
        raised=lambda _alarms: None,
        now_ms=begin_ms,
    )
    stops = {begin_ms, *(at_ms for at_ms, _ in waiting), room.end_ms}
    for stop_ms in sorted(stops.union(range(begin_ms, room.end_ms, DAY_MS))):
        before_ms = simulator.now_ms
        record = simulator.advance(stop_ms)
        if stop_ms > begin_ms:
            for batch in _batches(iter(reports(record))):
                at_ms = batch[-1].at_ms
                pipeline.take([Message(r.topic, r.payload, 0, 0, 0) for r in batch], at_ms)
                pipeline.tick(at_ms, broker_connected=True)
            _write_down(database, (event for event in record.events if event.kind != MISTED))
        for at_ms, place in waiting:
            if at_ms == stop_ms:
                pipeline.put_place(place, WHO, None, stop_ms)
        passed(simulator.now_ms - before_ms)
    _write_down(database, (event for event in room.inspections if event.at_ms > kept_until_ms))


def _built(room: BackRoom) -> dict[str, int]:
    """When each of the new builds was built."""
    return {
        model.id: model.built_ms for model in room.scenario.enclosures if model.built_ms is not None
    }


def _batches(items: Iterator[Report]) -> Iterator[list[Report]]:
    while batch := list(islice(items, BATCH)):
        yield batch


def _write_down(database: Database, events: Iterable[Event]) -> None:
    with database.transaction() as connection:
        for event in events:
            entry = ENTRY.validate_python(
                {"at": event.at_ms, "kind": event.kind, **_told(event.kind, event.detail)}
            )
            journal.add(connection, event.owner, entry, Source.IMPORT, event.at_ms)


def _told(kind: str, detail: Mapping[str, float | bool | str]) -> Mapping[str, object]:
    """What a keeper would write down of an event."""
    if kind == "maintenance":
        return {"note": f"lid open for {float(detail['seconds']) / 60:.0f} min"}
    return detail
