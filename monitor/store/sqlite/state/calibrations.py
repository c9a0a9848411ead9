"""Calibration runs and the certificates they ended in."""

import sqlite3
from enum import StrEnum
from typing import NamedTuple

from monitor.errors import Conflict, NotFound
from monitor.setup.calibration import Certificate, Run
from monitor.store.sqlite.state.query import Query

_SELECT = """
    SELECT id, place, probe, state, started_ms, ended_ms, applied_ms, run, certificate
    FROM calibration
"""


class State(StrEnum):
    """How far a run is."""

    RUNNING = "running"
    FINISHED = "finished"
    ABANDONED = "abandoned"


class CalibrationRow(NamedTuple):
    """A run; ``certificate`` once it is finished, ``applied_ms`` if the keeper put it in force."""

    id: int
    place: str
    probe: str
    state: State
    started_ms: int
    ended_ms: int | None
    applied_ms: int | None
    run: Run
    certificate: Certificate | None


def start(connection: sqlite3.Connection, place: str, probe: str, run: Run, now_ms: int) -> int:
    """Keep a new run; its id.

    Raises:
        Conflict: the probe is in a box already.
    """
    running = boxed(connection).get((place, probe))
    if running is not None:
        raise Conflict(
            f"probe {place}/{probe} is being calibrated already (run {running}); "
            "finish or abandon that first"
        )
    (number,) = connection.execute(
        """
        INSERT INTO calibration (place, probe, state, started_ms, run)
        VALUES (?, ?, 'running', ?, ?) RETURNING id
        """,
        (place, probe, now_ms, run.model_dump_json()),
    ).fetchone()
    return int(number)


def get(connection: sqlite3.Connection, place: str, probe: str, number: int) -> CalibrationRow:
    """One run of one probe.

    Raises:
        NotFound: there is none.
    """
    query = Query(_SELECT)
    query.where("id = ? AND place = ? AND probe = ?", number, place, probe)
    for row in query.run(connection, ""):
        return _row(*row)
    raise NotFound(f"no calibration {number} of probe {place}/{probe}")


def page(
    connection: sqlite3.Connection,
    place: str,
    probe: str,
    *,
    before: int | None = None,
    limit: int = 100,
) -> list[CalibrationRow]:
    """Runs of one probe, newest first; ``before``: the last id already seen."""
    query = Query(_SELECT)
    query.where("place = ? AND probe = ?", place, probe)
    if before is not None:
        query.where("id < ?", before)
    return [_row(*row) for row in query.run(connection, "ORDER BY id DESC LIMIT ?", limit)]


def in_force(connection: sqlite3.Connection, place: str, probe: str) -> Certificate | None:
    """The certificate that was applied last."""
    query = Query(_SELECT)
    query.where("place = ? AND probe = ? AND applied_ms IS NOT NULL", place, probe)
    for row in query.run(connection, "ORDER BY applied_ms DESC, id DESC LIMIT 1"):
        return _row(*row).certificate
    return None


def boxed(connection: sqlite3.Connection) -> dict[tuple[str, str], int]:
    """The probes that are in a salt box, by place and id, with the number of the run."""
    rows = connection.execute("SELECT place, probe, id FROM calibration WHERE state = 'running'")
    return {(place, probe): number for place, probe, number in rows}


def running(connection: sqlite3.Connection) -> list[CalibrationRow]:
    """All runs that are under way."""
    query = Query(_SELECT)
    query.where("state = 'running'")
    return [_row(*row) for row in query.run(connection, "ORDER BY id")]


def times_boxed(
    connection: sqlite3.Connection, place: str, probe: str, since_ms: int
) -> list[tuple[int, int | None]]:
    """When a probe stood in a salt box, from and to (None: still), as far as after ``since_ms``."""
    rows = connection.execute(
        """
        SELECT started_ms, ended_ms FROM calibration
        WHERE place = ? AND probe = ? AND ifnull(ended_ms, ?) >= ? ORDER BY id
        """,
        (place, probe, since_ms, since_ms),
    )
    return [(start_ms, end_ms) for start_ms, end_ms in rows]


def keep(connection: sqlite3.Connection, number: int, run: Run) -> None:
    """Put a run in the place of what was kept of it."""
    connection.execute(
        "UPDATE calibration SET run = ? WHERE id = ?", (run.model_dump_json(), number)
    )


def finish(
    connection: sqlite3.Connection, number: int, certificate: Certificate, now_ms: int
) -> None:
    """End a run with its certificate."""
    connection.execute(
        "UPDATE calibration SET state = 'finished', ended_ms = ?, certificate = ? WHERE id = ?",
        (now_ms, certificate.model_dump_json(), number),
    )


def abandon(connection: sqlite3.Connection, number: int, now_ms: int) -> None:
    """End a run without one."""
    connection.execute(
        "UPDATE calibration SET state = 'abandoned', ended_ms = ? WHERE id = ?", (now_ms, number)
    )


def applied(connection: sqlite3.Connection, number: int, now_ms: int) -> None:
    """Note that the correction of a certificate was put in force."""
    connection.execute("UPDATE calibration SET applied_ms = ? WHERE id = ?", (now_ms, number))


def _row(
    number: int,
    place: str,
    probe: str,
    state: str,
    started_ms: int,
    ended_ms: int | None,
    applied_ms: int | None,
    run: str,
    certificate: str | None,
) -> CalibrationRow:
    return CalibrationRow(
        number,
        place,
        probe,
        State(state),
        started_ms,
        ended_ms,
        applied_ms,
        Run.model_validate_json(run),
        None if certificate is None else Certificate.model_validate_json(certificate),
    )
