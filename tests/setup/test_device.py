"""A probe's device: what it may be called, and that each is one probe, in set-up and settings."""

from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.setup.device import LONGEST, can_be_set_up
from monitor.setup.file import dump_setup, load_setup
from monitor.setup.models import Enclosure, Setup, devices_of
from monitor.setup.sources import Source, must_agree
from monitor.species.library import load_library

LIBRARY = load_library()
TWO = """
[[room]]
id = "back-room"
name = "Back room"
probe = [{{ id = "air", device = {0} }}]
[[enclosure]]
id = "cork-cube"
name = "Cork"
probe = [{{ id = "canopy", zone = "canopy", device = {1} }}, {{ id = "floor", zone = "floor" }}]
[[enclosure]]
id = "fern-jar"
name = "Fern"
probe = [{{ id = "floor", zone = "floor", device = {2} }}]
"""


def written(folder: Path, *devices: str) -> Path:
    """A set-up file whose three probes have these devices."""
    path = folder / "enclosures.toml"
    path.write_text(TWO.format(*(f"'{each}'" for each in devices)), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "name",
    ["0x01", "02:00:00:00:12:7f", "Moos überm Farn", "苔", "<b>&amp;'\"", "%2F{}", "x" * LONGEST],
)
def test_a_device_may_be_called_what_a_topic_level_may(name: str) -> None:
    """It is found again by that very name."""
    setup = Setup.model_validate(
        {
            "enclosure": [
                {"id": "a", "name": "A", "probe": [{"id": "b", "zone": "floor", "device": name}]}
            ]
        }
    )

    assert can_be_set_up(name)
    assert devices_of(setup.places) == {name: "a/b"}


@pytest.mark.parametrize(
    "name",
    [
        "",
        " ",
        "a/b",
        "+",
        "#",
        "a\0b",
        "a\nb",
        "\x7f",
        "\x85",
        " 0x01",
        "0x01 ",
        "x" * (LONGEST + 1),
    ],
)
def test_what_can_be_no_device_is_known(name: str) -> None:
    """Signs that topics reserve, nothing at all, what nobody could see, or far too long."""
    assert not can_be_set_up(name)


def test_space_around_a_device_is_a_slip_of_the_hand() -> None:
    """It is not part of the name."""
    probe = {"id": "b", "zone": "floor", "device": " 0x01 "}
    place = Enclosure.model_validate({"id": "a", "name": "A", "probe": [probe]})

    assert place.probe[0].device == "0x01"


def test_a_wrong_device_is_told_at_its_key(tmp_path: Path) -> None:
    """With what would be right."""
    with pytest.raises(SettingsError) as told:
        load_setup(written(tmp_path, "0x01", "rack/0x02", "0x03"), LIBRARY)

    (problem,) = told.value.problems
    assert problem.key == "enclosure[cork-cube].probe[canopy].device"
    assert "a device's name as it stands in the topic, of 1 to 200 characters" in problem.says
    assert problem.says.endswith("not 'rack/0x02'")


def test_a_device_is_written_out_and_read_again(tmp_path: Path) -> None:
    """As any key of the set-up."""
    setup = load_setup(written(tmp_path, "0x01", "0x02", "0x03"), LIBRARY)
    (tmp_path / "dump.toml").write_text(dump_setup(setup), encoding="utf-8")

    assert load_setup(tmp_path / "dump.toml", LIBRARY) == setup


@pytest.mark.parametrize(
    ("devices", "key", "says"),
    [
        (
            ("0x01", "0x02", "0x01"),
            "enclosure[fern-jar].probe[floor].device",
            "device '0x01' is both back-room/air and fern-jar/floor",
        ),
        (
            ("0x01", "0x02", "0x02"),
            "enclosure[fern-jar].probe[floor].device",
            "device '0x02' is both cork-cube/canopy and fern-jar/floor",
        ),
    ],
)
def test_one_device_is_one_probe(
    tmp_path: Path, devices: tuple[str, ...], key: str, says: str
) -> None:
    """Over the whole set-up; both probes are named."""
    with pytest.raises(SettingsError) as told:
        load_setup(written(tmp_path, *devices), LIBRARY)

    (problem,) = told.value.problems
    assert problem.key == key
    assert says in problem.says


def test_one_device_is_one_probe_within_an_enclosure_and_a_room(tmp_path: Path) -> None:
    """A place that comes alone, as over the API, is refused as well."""
    path = tmp_path / "enclosures.toml"
    twice = "probe = [{ id = 'a', device = 'x'ZONE }, { id = 'b', device = 'x'ZONE }]"
    room = "[[room]]\nid = 'r'\nname = 'R'\n" + twice.replace("ZONE", "")
    jar = "\n[[enclosure]]\nid = 'e'\nname = 'E'\n" + twice.replace("ZONE", ", zone = 'floor'")
    path.write_text(room + jar)
    with pytest.raises(SettingsError) as told:
        load_setup(path, LIBRARY)

    assert [str(each) for each in told.value.problems] == [
        f"{path}: {place}.probe[b].device: device 'x' is both {one} and {other}; "
        "one device is one probe: take it out of one of them"
        for place, one, other in (("room[r]", "r/a", "r/b"), ("enclosure[e]", "e/a", "e/b"))
    ]


def test_settings_and_set_up_may_say_the_same_but_not_different_things(tmp_path: Path) -> None:
    """Each source that contradicts the set-up is told by its key."""
    setup = load_setup(written(tmp_path, "0x01", "0x02", "0x03"), LIBRARY)
    agreed = Source(topic="rack/{device}", devices={"0x01": "back-room/air", "0x09": "a/b"})
    wrong = Source(topic="shelf/{device}", devices={"0x02": "fern-jar/floor"})

    must_agree([agreed], setup)
    with pytest.raises(SettingsError) as told:
        must_agree([agreed, wrong], setup)

    (problem,) = told.value.problems
    assert (problem.file, problem.key) == ("settings", "source[2].devices.0x02")
    assert "'0x02' is fern-jar/floor in the settings and cork-cube/canopy in" in problem.says
