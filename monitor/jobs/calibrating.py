"""A calibration from the salt box to the set-up: start, look, next salt, finish, apply.

Readings are stored corrected. The correction that was in force is undone here; should it change
during a run, the run cannot be used.
"""

import logging
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from monitor.analysis.calibration import Boxed, FixedPoint, Rest, certify, fixed_point, judge_rest
from monitor.errors import Conflict, NotFound
from monitor.quality import Reason
from monitor.quantities import MEASURED, Quantity
from monitor.setup.calibration import (
    CalibrationSettings,
    Certificate,
    Run,
    Salt,
    Step,
    corrected,
    correction_of,
)
from monitor.setup.models import Correction, Probe
from monitor.store.readings import Floats, Ints, ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import calibrations, setup
from monitor.store.sqlite.state.calibrations import CalibrationRow, State
from monitor.store.sqlite.state.setup import Place
from monitor.times import DAY_MS, HOUR_MS

log = logging.getLogger(__name__)

FORGOTTEN_EVERY_S = 600.0
"""Between two looks for forgotten runs."""
DRIES_MS = 3 * HOUR_MS
"""What stands at the end of the scale in the first hours is forgiven."""

PutPlace = Callable[[Place, str, int], object]
"""Changes the set-up: place, who, the revision it was read at."""

_USED = (Reason.OK, Reason.AWAY)
"""Those that came before the ingest took notice of the box are ``OK``."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is. ``rest`` and ``reference`` are of the salt it is with, while it runs."""

    row: CalibrationRow
    says: str
    rest: Rest | None = None
    reference: FixedPoint | None = None

    @property
    def to_follow(self) -> tuple[Salt, ...]:
        """The salts that are still to come."""
        return self.row.run.salts[len(self.row.run.steps) :]


class Calibrating:
    """Runs and certificates of one daemon, or of one command."""

    def __init__(
        self, database: Database, readings: ReadingStore, settings: CalibrationSettings
    ) -> None:
        self._database = database
        self._readings = readings
        self._settings = settings

    def start(
        self, place: str, probe: str, salts: tuple[Salt, ...], by: str, now_ms: int
    ) -> Progress:
        """The probe was put into a box with the first of the salts.

        Until the run ends the ingest keeps it out of service (``Pipeline.tick``).

        Raises:
            NotFound: no such probe is set up.
            Conflict: it is in a box already, or a salt stands twice.
        """
        if not salts or len(set(salts)) < len(salts):
            raise Conflict("name one or more salts, each once")
        with self._database.transaction() as connection:
            correction = correction_of(_probe(connection, place, probe)[2])
            run = Run(
                salts=salts,
                steps=(Step(salt=salts[0], since_ms=now_ms),),
                correction=correction,
                by=by,
            )
            number = calibrations.start(connection, place, probe, run, now_ms)
        return self.progress(place, probe, number, now_ms)

    def progress(self, place: str, probe: str, number: int, now_ms: int) -> Progress:
        """How far a run is.

        Raises:
            NotFound: there is no such run.
        """
        with self._database.reading() as connection:
            row = calibrations.get(connection, place, probe, number)
            changed = row.state is State.RUNNING and _changed(connection, row)
        if row.state is State.ABANDONED:
            return Progress(row, "Abandoned.")
        if row.certificate is not None:
            return Progress(row, row.certificate.says)
        if changed:
            return Progress(row, _CHANGED)
        boxed = self.boxed(row, now_ms)
        rest = judge_rest(boxed, now_ms, self._settings)
        reference = None
        if len(boxed.temperature):
            try:
                reference = fixed_point(row.run.steps[-1].salt, float(boxed.temperature[-1]))
            except ValueError as exc:
                rest = Rest(f"This cannot become a calibration: {exc}.", last=rest.last)
        found = Progress(row, rest.says, rest, reference)
        if rest.rested is None:
            return found
        then = f"go on with {found.to_follow[0].in_words}" if found.to_follow else "finish the run"
        return replace(found, says=f"{rest.says} Now {then}.")

    def next_salt(self, place: str, probe: str, number: int, now_ms: int) -> Progress:
        """The probe is at rest and goes to the next salt now.

        Raises:
            NotFound: there is no such run.
            Conflict: it is not at rest, no salt is to follow, or the run is over.
        """
        found = self._at_rest(place, probe, number, now_ms)
        if not found.to_follow:
            raise Conflict("that was the last salt; finish the run")
        run = _closed(found, now_ms)
        step = Step(salt=found.to_follow[0], since_ms=now_ms)
        run = run.model_copy(update={"steps": (*run.steps, step)})
        with self._database.transaction() as connection:
            _must_be(found.row, connection)
            calibrations.keep(connection, number, run)
        return self.progress(place, probe, number, now_ms)

    def finish(self, place: str, probe: str, number: int, now_ms: int) -> Progress:
        """The probe is at rest and comes out now; salts that did not follow are left out.

        Raises:
            NotFound: there is no such run.
            Conflict: it is not at rest, its readings make no line, or the run is over.
        """
        found = self._at_rest(place, probe, number, now_ms)
        run = _closed(found, now_ms)
        with self._database.transaction() as connection:
            _must_be(found.row, connection)
            earlier = calibrations.in_force(connection, place, probe)
            try:
                certificate = certify(run.steps, run.correction, earlier, now_ms, self._settings)
            except ValueError as exc:
                raise Conflict(f"no certificate: {exc}") from exc
            calibrations.keep(connection, number, run)
            calibrations.finish(connection, number, certificate, now_ms)
        return self.progress(place, probe, number, now_ms)

    def abandon(self, place: str, probe: str, number: int, now_ms: int) -> None:
        """The probe comes out without a certificate.

        Raises:
            NotFound: there is no such run.
            Conflict: it is over already.
        """
        with self._database.transaction() as connection:
            row = calibrations.get(connection, place, probe, number)
            _must_run(row)
            calibrations.abandon(connection, number, now_ms)

    def abandon_forgotten(self, now_ms: int) -> None:
        """End the runs that nobody ended in time, so that their probes are watched again."""
        longest_ms = round(self._settings.longest_h * HOUR_MS)
        with self._database.reading() as connection:
            rows = calibrations.running(connection)
        for row in rows:
            if now_ms - row.run.steps[-1].since_ms > longest_ms:
                log.warning(
                    "calibration %d of probe %s/%s was forgotten and is abandoned; put the probe "
                    "back in its place",
                    *(row.id, row.place, row.probe),
                )
                with self._database.transaction() as connection:
                    calibrations.abandon(connection, row.id, now_ms)

    def apply(
        self, place: str, probe: str, number: int, who: str, now_ms: int, put: PutPlace
    ) -> Correction:
        """Put the correction of a certificate in force; what is stored already stays as it is.

        Raises:
            NotFound: there is no such run or probe.
            Conflict: it has no certificate, one that must not be applied, or the probe's
                correction or the set-up has changed since.
        """
        with self._database.reading() as connection:
            row = calibrations.get(connection, place, probe, number)
            placed, revision, here = _probe(connection, place, probe)
        correction = _applicable(row).correction
        # Once more after a crash in between does no harm.
        if correction_of(here) != correction:
            if correction_of(here) != row.run.correction:
                raise Conflict(
                    f"the correction of probe {place}/{probe} was changed since this run; "
                    "calibrate it anew"
                )
            put(corrected(placed, probe, correction), who, revision)
        with self._database.transaction() as connection:
            calibrations.applied(connection, number, now_ms)
        return correction

    def boxed(self, row: CalibrationRow, now_ms: int) -> Boxed:
        """What came since the salt was changed, before any correction."""
        since_ms = row.run.steps[-1].since_ms
        at_ms, humidity = self._used(row, Quantity.HUMIDITY, since_ms, now_ms)
        trait = MEASURED[Quantity.HUMIDITY]
        pinned = (humidity <= trait.lowest) | (humidity >= trait.highest)
        # A probe may come wet into the box.
        counts = (at_ms > now_ms - DAY_MS) & (at_ms > since_ms + DRIES_MS)
        temperature_ms, temperature = self._used(row, Quantity.TEMPERATURE, since_ms, now_ms)
        return Boxed(
            since_ms,
            at_ms,
            (humidity - row.run.correction.offset) / row.run.correction.gain,
            temperature_ms,
            temperature,
            pinned=bool(np.any(pinned & counts)),
        )

    def _at_rest(self, place: str, probe: str, number: int, now_ms: int) -> Progress:
        found = self.progress(place, probe, number, now_ms)
        _must_run(found.row)
        if found.rest is None or found.rest.rested is None:
            raise Conflict(found.says)
        return found

    def _used(
        self, row: CalibrationRow, quantity: Quantity, since_ms: int, now_ms: int
    ) -> tuple[Ints, Floats]:
        key = SeriesKey(row.place, row.probe, quantity)
        track = self._readings.track(key, since_ms, now_ms + 1)
        used = np.isin(track.reason, _USED)
        return track.at_ms[used], track.value[used]


_CHANGED = (
    "The probe's correction was changed since the run began, and its readings are a mixture now. "
    "Abandon the run and begin anew."
)


def _must_run(row: CalibrationRow) -> None:
    if row.state is not State.RUNNING:
        raise Conflict(f"calibration {row.id} is {row.state}")


def _must_be(row: CalibrationRow, connection: sqlite3.Connection) -> None:
    """It took some time to look at the readings."""
    if calibrations.get(connection, row.place, row.probe, row.id) != row:
        raise Conflict(f"somebody else went on with calibration {row.id}; look again")


def _applicable(row: CalibrationRow) -> Certificate:
    if row.certificate is None:
        raise Conflict(f"calibration {row.id} is {row.state} and has no certificate")
    if row.certificate.unusable:
        raise Conflict(f"calibration {row.id} must not be applied: {row.certificate.unusable}")
    if row.applied_ms is not None:
        raise Conflict(f"calibration {row.id} is applied already")
    return row.certificate


def _closed(found: Progress, now_ms: int) -> Run:
    """The run with its last step closed."""
    run = found.row.run
    assert found.rest is not None  # noqa: S101 - it is at rest
    last = run.steps[-1].model_copy(update={"until_ms": now_ms, "rested": found.rest.rested})
    return run.model_copy(update={"steps": (*run.steps[:-1], last)})


def _changed(connection: sqlite3.Connection, row: CalibrationRow) -> bool:
    try:
        probe = _probe(connection, row.place, row.probe)[2]
    except NotFound:
        return True
    return correction_of(probe) != row.run.correction


def _probe(connection: sqlite3.Connection, place: str, probe: str) -> tuple[Place, int, Probe]:
    placed, revision = setup.get(connection, place)
    for each in placed.probe:
        if each.id == probe:
            return placed, revision, each
    known = ", ".join(each.id for each in placed.probe) or "none yet"
    raise NotFound(f"{place!r} has no probe {probe!r}; there are: {known}")
