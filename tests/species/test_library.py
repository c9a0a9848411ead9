"""Finding profiles: those that come with dewkeep, and a keeper's own."""

import datetime as dt
from pathlib import Path

import pytest

from monitor.errors import NotFound, SettingsError
from monitor.species.envelope import envelope
from monitor.species.library import load_library
from monitor.species.profile import Kind

NEWT = """
id = "some-newt"
scientific = "Some newt"
name = "Newt"
kind = "animal"
ventilation = "medium"
[[range]]
quantity = "temperature"
preferred = [14, 20]
basis = "from memory"
"""


def test_a_keepers_folder_adds_profiles(tmp_path: Path) -> None:
    """Own profiles stand beside those that come with dewkeep."""
    (tmp_path / "some-newt.toml").write_text(NEWT)
    (tmp_path / "notes.txt").write_text("not a profile")

    library = load_library(tmp_path)

    assert library.profile("some-newt").kind is Kind.ANIMAL
    assert "correlophus-ciliatus" in library
    assert len(library) == len(load_library()) + 1


def test_a_keepers_profile_takes_the_place_of_ours(tmp_path: Path) -> None:
    """The file's name decides."""
    mine = NEWT.replace("some-newt", "ficus-pumila").replace("Newt", "My fig")
    (tmp_path / "ficus-pumila.toml").write_text(mine)

    library = load_library(tmp_path)

    assert library.profile("ficus-pumila").name == "My fig"
    assert len(library) == len(load_library())


def test_all_mistakes_in_a_keepers_files_are_told(tmp_path: Path) -> None:
    """Each with its file and key."""
    (tmp_path / "some-newt.toml").write_text(NEWT.replace("[14, 20]", "[20, 14]"))
    (tmp_path / "other.toml").write_text(NEWT)
    (tmp_path / "broken.toml").write_text("id = ")

    with pytest.raises(SettingsError) as refusal:
        load_library(tmp_path)

    assert [(Path(p.file).name, p.key) for p in refusal.value.problems] == [
        ("broken.toml", ""),
        ("other.toml", "id"),
        ("some-newt.toml", "range[1].preferred"),
    ]
    assert "must be named some-newt.toml" in str(refusal.value)


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    """A folder that is not there is a mistake, not an empty folder."""
    with pytest.raises(SettingsError, match="none: is no folder of species profiles"):
        load_library(tmp_path / "none")


def test_an_unknown_species_is_told_with_a_likely_one() -> None:
    """A slip in the name is easily mended."""
    with pytest.raises(NotFound, match=r"no species profile 'python-regis'.*'python-regius'"):
        load_library().profile("python-regis")


def test_a_company_has_the_envelope_of_its_profiles() -> None:
    """Whichever way it is asked for, and by the month of the day."""
    library = load_library()
    profiles = [library.profile("haworthia"), library.profile("eublepharis-macularius")]

    for day in (dt.date(2027, 1, 31), dt.date(2027, 6, 1), dt.date(2028, 1, 1)):
        shared = library.envelope(["eublepharis-macularius", "haworthia"], day)
        assert shared == envelope(profiles, day)
