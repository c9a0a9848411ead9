"""The month before: run through dewkeep's own pipeline, as if it had watched all along."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice

from monitor.demo.wire import MISTED, Report, reports
from monitor.ingest.link import Message
from monitor.ingest.live import Hub
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.setup.journal import ENTRY, Source
from monitor.setup.settings import Settings
from monitor.simulation import Event, Simulator
from monitor.simulation.demo_room import BackRoom
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS

BATCH = 2_000


def fill_in(
    settings: Settings,
    database: Database,
    simulator: Simulator,
    room: BackRoom,
    day_done: Callable[[int], None],
) -> None:
    """Simulate up to the end of the story and take everything in that is not there yet."""
    readings = SqliteReadings(database)
    kept_until_ms = max((latest.at_ms for latest in readings.latest().values()), default=0)
    pipeline = Pipeline(
        database,
        readings,
        settings,
        load_library(),
        Hub(),
        Rejects(),
        told=lambda: None,
        raised=lambda _alarms: None,
        now_ms=room.start_ms,
    )
    while simulator.now_ms < room.end_ms:
        before_ms = simulator.now_ms
        record = simulator.advance(min(before_ms + DAY_MS, room.end_ms))
        if simulator.now_ms == before_ms:
            break  # less than a step is left
        new = (report for report in reports(record) if report.at_ms > kept_until_ms)
        for batch in _batches(new):
            at_ms = batch[-1].at_ms
            pipeline.take([Message(r.topic, r.payload, 0, 0, 0) for r in batch], at_ms)
            # Not tick(): the new builds' probes are not silent, they are not there yet.
            readings.tidy(at_ms)
        _write_down(database, (event for event in record.events if event.kind != MISTED))
        day_done(1)
    _write_down(database, room.inspections)


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
