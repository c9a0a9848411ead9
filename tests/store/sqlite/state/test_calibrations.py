"""Kept runs and certificates."""

import pytest

from monitor.errors import Conflict, NotFound
from monitor.setup.calibration import Certificate, Rested, Run, Salt, Step
from monitor.setup.models import Correction
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import calibrations
from monitor.store.sqlite.state.calibrations import State

T = 1_792_351_800_000
ADDRESS = ("cork-cube", "canopy")
RUN = Run(
    salts=(Salt.SODIUM_CHLORIDE, Salt.POTASSIUM_CHLORIDE),
    steps=(Step(salt=Salt.SODIUM_CHLORIDE, since_ms=T),),
    correction=Correction(gain=1.1, offset=-2.0),
    by="ada",
)
CERTIFICATE = Certificate(
    made_ms=T,
    due_ms=T + 1,
    points=(),
    gain=1.02,
    u_gain=0.01,
    offset=-1.0,
    u_offset=0.5,
    uncertainty=(0.5,) * 11,
    before=RUN.correction,
    says="Correct it.",
)


def start(database: Database, *address: str, now_ms: int = T) -> int:
    """A run of a probe, the canopy's unless another is named."""
    place, probe = address or ADDRESS
    with database.transaction() as connection:
        return calibrations.start(connection, place, probe, RUN, now_ms)


def test_a_run_comes_back_as_it_was(database: Database) -> None:
    """First under way, then with what was put in its place, then with its certificate."""
    number = start(database)
    rested = Rested(reading=74.2, u_reading=0.05, temperature=21.3, count=240)
    done = RUN.model_copy(
        update={"steps": (RUN.steps[0].model_copy(update={"until_ms": T + 5, "rested": rested}),)}
    )
    with database.reading() as connection:
        under_way = calibrations.get(connection, *ADDRESS, number)
    with database.transaction() as connection:
        calibrations.keep(connection, number, done)
        calibrations.finish(connection, number, CERTIFICATE, T + 9)
    with database.reading() as connection:
        finished = calibrations.get(connection, *ADDRESS, number)

    assert under_way == (number, *ADDRESS, State.RUNNING, T, None, None, RUN, None)
    assert finished == (number, *ADDRESS, State.FINISHED, T, T + 9, None, done, CERTIFICATE)


def test_a_probe_is_in_one_box_at_a_time(database: Database) -> None:
    """Another probe may be in another; after the end it may go into the next."""
    first = start(database)
    other = start(database, "back-room", "air")
    with pytest.raises(
        Conflict, match=rf"cork-cube/canopy is being calibrated already \(run {first}\)"
    ):
        start(database)
    with database.reading() as connection:
        both = calibrations.boxed(connection)
    with database.transaction() as connection:
        calibrations.abandon(connection, first, T + 5)
    again = start(database, now_ms=T + 6)

    assert both == {ADDRESS: first, ("back-room", "air"): other}
    with database.reading() as connection:
        assert calibrations.times_boxed(connection, *ADDRESS, T) == [(T, T + 5), (T + 6, None)]
        assert calibrations.times_boxed(connection, *ADDRESS, T + 6) == [(T + 6, None)]
        assert [row.id for row in calibrations.page(connection, *ADDRESS)] == [again, first]
        assert [row.id for row in calibrations.page(connection, *ADDRESS, before=again)] == [first]


def test_the_certificate_in_force_is_the_one_applied_last(database: Database) -> None:
    """Not the newest, and none where none was applied."""
    numbers = []
    for gain in (1.01, 1.02, 1.03):
        numbers.append(start(database))
        with database.transaction() as connection:
            made = CERTIFICATE.model_copy(update={"gain": gain})
            calibrations.finish(connection, numbers[-1], made, T)
    with database.reading() as connection:
        assert calibrations.in_force(connection, *ADDRESS) is None
    with database.transaction() as connection:
        calibrations.applied(connection, numbers[0], T + 1)
        calibrations.applied(connection, numbers[1], T + 2)

    with database.reading() as connection:
        found = calibrations.in_force(connection, *ADDRESS)

    assert found is not None
    assert found.gain == 1.02


def test_a_run_belongs_to_its_probe(database: Database) -> None:
    """It is not found under another."""
    number = start(database)

    with database.reading() as connection, pytest.raises(NotFound, match="back-room/air"):
        calibrations.get(connection, "back-room", "air", number)
