"""A set-up file at every start, and the certificates that were put in force since."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.jobs import setup_file
from monitor.jobs.setup_file import Filed
from monitor.setup.calibration import Certificate, Run, Salt, Step, corrected, correction_of
from monitor.setup.channels import Webhook
from monitor.setup.models import Correction, Enclosure, Probe, Room, RoomProbe, Zone
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import calibrations, setup
from monitor.store.sqlite.state.setup import Place

T = 1_796_000_000_000
NONE = Correction()
CUBE = Enclosure(
    id="cork-cube",
    name="Cork cube",
    timezone="Europe/Lisbon",
    probe=(Probe(id="canopy", zone=Zone.CANOPY), Probe(id="floor", zone=Zone.FLOOR)),
)
ROOM = Room(id="back-room", name="Back room", probe=(RoomProbe(id="air"),))


class House:
    """A database that has its set-up from a file."""

    def __init__(self, path: Path) -> None:
        self.database = Database(path)

    def file(self, *places: Place) -> Filed:
        """Start with a file that lists these."""
        with self.database.transaction() as connection:
            return setup_file.put_in_force(connection, places, "file", T)

    def calibrate(self, place: Place, probe: str, to: Correction, *, noted: bool = True) -> int:
        """A run, its certificate, and what the keeper's button does with it."""
        now = self.correction(place, probe)
        step = Step(salt=Salt.SODIUM_CHLORIDE, since_ms=T)
        run = Run(salts=(step.salt,), steps=(step,), correction=now, by="ada")
        with self.database.transaction() as connection:
            number = calibrations.start(connection, place.id, probe, run, T)
            calibrations.finish(connection, number, certificate(to, now), T)
            stored = setup.get(connection, place.id).place
            setup.put(connection, corrected(stored, probe, to), who="ada", now_ms=T)
            if noted:
                calibrations.applied(connection, number, T)
        return number

    def correction(self, place: Place, probe: str) -> Correction:
        """What the set-up has."""
        with self.database.reading() as connection:
            stored = setup.get(connection, place.id).place
        (found,) = [each for each in stored.probe if each.id == probe]
        return correction_of(found)


def certificate(to: Correction, before: Correction) -> Certificate:
    """One that asks for a correction."""
    return Certificate(
        made_ms=T,
        due_ms=T,
        points=(),
        gain=to.gain,
        u_gain=0.01,
        offset=to.offset,
        u_offset=0.5,
        uncertainty=(),
        before=before,
        says="",
    )


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house that was started once."""
    house = House(tmp_path / "dewkeep.db")
    house.file(ROOM, CUBE)
    yield house
    house.database.close()


@pytest.mark.parametrize("noted", [True, False])
@pytest.mark.parametrize(("place", "probe"), [(CUBE, "canopy"), (ROOM, "air")])
def test_a_calibration_outlives_a_file_that_says_what_it_said(
    house: House, place: Place, probe: str, noted: bool
) -> None:
    """At every start, of a room too, and if the daemon died before it noted what it had done."""
    to = Correction(offset=1.5, gain=1.02)
    number = house.calibrate(place, probe, to, noted=noted)
    for _ in range(2):
        filed = house.file(ROOM, CUBE)

        assert house.correction(place, probe) == to
        assert (filed.changes, filed.undone) == (0, ())
        assert [each.number for each in filed.kept] == [number]
        assert "write it there too: calibration = { humidity" in (
            setup_file.kept_says(filed.kept[0]).lower()
        )


def test_the_rest_of_the_file_is_applied(house: House) -> None:
    """What else it changes of the same enclosure, and corrections of other probes."""
    house.calibrate(CUBE, "canopy", Correction(offset=1.5))
    other = Correction(offset=-2.0)
    house.file(ROOM, corrected(CUBE, "floor", other).model_copy(update={"name": "Cork"}))

    with house.database.reading() as connection:
        assert setup.get(connection, "cork-cube").place.name == "Cork"
    assert house.correction(CUBE, "floor") == other
    assert house.correction(CUBE, "canopy") == Correction(offset=1.5)


def test_a_file_that_was_never_touched_outlives_two_calibrations(house: House) -> None:
    """It says what was in force before the first, or between them."""
    first, second = Correction(offset=1.5), Correction(offset=2.5, gain=1.1)
    house.calibrate(CUBE, "canopy", first)
    number = house.calibrate(CUBE, "canopy", second)
    for said in (NONE, first):
        filed = house.file(ROOM, corrected(CUBE, "canopy", said))

        assert house.correction(CUBE, "canopy") == second
        assert [each.number for each in filed.kept] == [number]


def test_a_file_that_was_brought_up_to_date_is_no_news(house: House) -> None:
    """The line that was shown for it, written there."""
    to = Correction(offset=1.5, gain=1.02)
    house.calibrate(CUBE, "canopy", to)

    assert house.file(ROOM, corrected(CUBE, "canopy", to)) == Filed(0, (), ())


def test_a_file_that_says_something_new_wins_and_says_so_once(house: House) -> None:
    """On channels that take a warning: what is in force no more, in words and by number."""
    number = house.calibrate(CUBE, "canopy", Correction(offset=1.5))
    new = corrected(CUBE, "canopy", Correction(offset=-3.0))
    channels = [
        Webhook.model_validate({"kind": "webhook", "url": "https://hooks.example/", **each})
        for each in (
            {"name": "phone"},
            {"name": "pager", "from_priority": "critical"},
            {"name": "vet", "only_escalation": True},
        )
    ]
    filed = house.file(ROOM, new)
    (notice,) = setup_file.notices(filed.undone, channels, T)
    told = json.loads(notice.body)

    assert house.correction(CUBE, "canopy") == Correction(offset=-3.0)
    assert (notice.channel, told["event"]) == ("phone", setup_file.UNDONE)
    assert (told["enclosure"], told["probe"], told["calibration"]) == (
        "cork-cube",
        "canopy",
        number,
    )
    assert "offset = 1.5" in told["says"]
    assert house.file(ROOM, new) == Filed(0, (), ())


def test_a_correction_that_no_certificate_gave_is_the_files(house: House) -> None:
    """As before: what was changed by hand elsewhere lasts until the next start."""
    with house.database.transaction() as connection:
        by_hand = corrected(CUBE, "canopy", Correction(offset=4.0))
        setup.put(connection, by_hand, who="ada", now_ms=T)

    assert house.file(ROOM, CUBE) == Filed(1, (), ())
    assert house.correction(CUBE, "canopy") == NONE
