"""The species pages: every profile whole, every number with its provenance."""

import html

import pytest

from monitor.species.library import load_library
from monitor.web.words import months
from tests.web.conftest import MakeShow, Show

LIBRARY = load_library()


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """A house without anything in it."""
    return make_show({})


def test_all_species_are_listed_by_kind(show: Show) -> None:
    """Each once, with its scientific name and the way to its profile."""
    page = show.get("/species").text
    assert f"<h1>{len(LIBRARY)} species" in page
    for species in LIBRARY:
        assert page.count(f'<a href="/species/{species}">') == 1


@pytest.mark.parametrize("species", [*LIBRARY])
def test_a_profile_hides_nothing(show: Show, species: str) -> None:
    """Every basis and source, every caution, and numbers kept on record without being used."""
    profile = LIBRARY.profile(species)
    page = html.unescape(show.get(f"/species/{species}").text).replace("\N{NO-BREAK SPACE}", " ")
    every = [*profile.range, *(each for season in profile.season for each in season.range)]
    for cited in every:
        assert (cited.source or cited.basis) in page
    for caution in profile.cautions:
        assert caution in page
    assert page.count("(on record, not used)") == sum(not each.used for each in every)
    assert page.count('<th scope="row">') == len(every)


def test_ranges_are_in_the_viewers_units(show: Show) -> None:
    """°F for those who read °F."""
    show.cookies.set("dewkeep_view", "F.kPa.auto")
    page = show.get("/species/correlophus-ciliatus").text
    assert "71.6\N{EN DASH}78.8\N{NO-BREAK SPACE}°F" in page  # 22 to 26 °C
    assert "about 82.4\N{NO-BREAK SPACE}°F" in page


def test_an_unknown_species_is_a_page_that_says_so(show: Show) -> None:
    """With the name that is nearest."""
    answer = show.get("/species/correlophus-cilliatus")
    assert answer.status_code == 404
    assert "correlophus-ciliatus" in answer.text


def test_months_have_names() -> None:
    """As in a sentence."""
    assert months((11, 12, 1)) == "November, December and January"
