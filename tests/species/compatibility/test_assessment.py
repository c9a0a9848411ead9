"""Whole companies: who belongs together, who is at risk, and who would fit instead."""

import datetime as dt
import json
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.species.compatibility import Compatibility, Verdict, What, compatibility, wire
from monitor.species.compatibility.assessment import NOTHING
from monitor.species.envelope import envelope
from monitor.species.library import load_library
from monitor.species.profile import Crew, Kind, When
from monitor.species.ranges import Span, Spans, Zone, ZoneRange

LIBRARY = load_library()
JUNE, JANUARY = dt.date(2027, 6, 15), dt.date(2027, 1, 15)
companies = st.lists(st.sampled_from(sorted(LIBRARY)), max_size=5, unique=True)
days = st.sampled_from([JUNE, JANUARY])
ANIMALS = [each.id for each in LIBRARY.profiles() if each.kind is Kind.ANIMAL]


def look(
    *species: str, on: dt.date = JUNE, own: Mapping[Zone, ZoneRange] = NOTHING
) -> Compatibility:
    """A company of the library's."""
    company = [LIBRARY.profile(each) for each in species]
    return compatibility(company, LIBRARY.profiles(), on, own)


def floor(low: float, high: float) -> dict[Zone, ZoneRange]:
    """A floor of that humidity, day and night."""
    spans = Spans(temperature=Span(low=20, high=26), humidity=Span(low=low, high=high))
    return {Zone.FLOOR: ZoneRange(day=spans, night=spans)}


def whats(found: Compatibility, species: str) -> dict[What, bool]:
    """The risks of one species, and whether they are serious."""
    return {risk.what: risk.serious for risk in found.risks if risk.species == species}


def test_a_usual_planted_enclosure_fits() -> None:
    """A gecko, a fig, springtails and small isopods: nothing needs to go."""
    found = look(
        "correlophus-ciliatus", "ficus-pumila", "sinella-curviseta", "trichorhina-tomentosa"
    )

    assert found.verdict is Verdict.FITS
    assert found.misfits == ()
    assert found.says.endswith("get on.")
    assert whats(found, "trichorhina-tomentosa") == {What.GROUND_ONLY: False}
    assert all(found.bridged(conflict) for conflict in found.conflicts)


def test_a_succulent_yields_to_a_frog_and_the_frogs_plants_are_offered() -> None:
    """The frog's ranges stand; instead of the succulent come plants, none of which yields."""
    found = look("dendrobates-tinctorius", "haworthia")

    assert found.verdict is Verdict.UNFIT
    assert found.misfits == ("haworthia",)
    assert found.says == "Haworthia does not belong with the rest."
    floor_range = found.ranges[Zone.FLOOR]
    assert floor_range == look("dendrobates-tinctorius").ranges[Zone.FLOOR]
    offered = [each.candidate for each in found.alternatives]
    assert offered
    for each in offered:
        assert each.kind is Kind.PLANT
        assert each.says.startswith("Suits ")
        assert each.species not in look("dendrobates-tinctorius", each.species).misfits


def test_two_animals_at_odds_are_kept_apart() -> None:
    """Neither yields, no range is made up, and nothing is offered to go with them."""
    found = look("dendrobates-auratus", "pogona-vitticeps")

    assert found.verdict is Verdict.APART
    assert found.at_odds == ("dendrobates-auratus", "pogona-vitticeps")
    assert found.misfits == ()
    assert found.candidates == ()
    assert "must be kept apart" in found.says


def test_animals_of_two_species_never_simply_fit() -> None:
    """Even where the climate would serve both."""
    found = look("dendrobates-auratus", "dendrobates-tinctorius")

    assert found.conflicts == ()
    assert found.verdict is Verdict.UNFIT
    assert What.MIXED in whats(found, "dendrobates-auratus")


@pytest.mark.parametrize(
    ("animal", "crew", "eaten"),
    [
        ("pogona-vitticeps", "porcellio-laevis", True),
        ("litoria-caerulea", "porcellio-scaber", True),
        ("phelsuma-grandis", "trichorhina-tomentosa", False),  # too small to be worth hunting
        ("correlophus-ciliatus", "porcellio-laevis", False),
        ("litoria-caerulea", "sinella-curviseta", False),  # no isopod
    ],
)
def test_large_isopods_are_no_crew_for_who_eats_them(animal: str, crew: str, eaten: bool) -> None:
    """The size and its provenance are in the sentence."""
    found = look(animal, crew)
    risks = [risk for risk in found.risks if risk.what is What.EATEN]

    assert bool(risks) is eaten
    for risk in risks:
        assert risk.serious
        assert risk.other == animal
        assert "mm (from memory)" in risk.says


def test_a_crew_of_the_rain_forest_dies_with_a_desert_animal() -> None:
    """Air and ground of the dragon are both beyond what it survives."""
    found = look("pogona-vitticeps", "trichorhina-tomentosa")

    assert whats(found, "trichorhina-tomentosa")[What.DIES]
    assert "trichorhina-tomentosa" in found.misfits
    (risk,) = [risk for risk in found.risks if risk.what is What.DIES]
    assert "50 to 100 % (humidity)" in risk.says


@pytest.mark.parametrize(
    ("held", "expected"),
    [
        ((20, 45), {What.DIES: True}),  # none of it above 50
        ((40, 70), {What.DIES: False}),  # some of it
        ((60, 95), {}),
    ],
)
def test_a_crew_is_judged_by_the_humidity_it_gets(
    held: tuple[float, float], expected: dict[What, bool]
) -> None:
    """Below what it survives it dies, at the edge it may; the keeper's own range is what counts."""
    found = whats(look("pogona-vitticeps", "cubaris", own=floor(*held)), "cubaris")

    assert {what: grave for what, grave in found.items() if what is What.DIES} == expected


def test_moist_ground_saves_a_crew_from_dry_air_but_dry_ground_does_not() -> None:
    """The same conflict counts for one animal and not for the other."""
    gecko = look("correlophus-ciliatus", "cubaris")
    dragon = look("pogona-vitticeps", "cubaris")

    assert "cubaris" not in gecko.misfits
    assert "cubaris" in dragon.misfits


def test_candidates_are_tried_in_the_keepers_own_climate() -> None:
    """Who gets on in the gecko's usual air is no crew for a floor that its keeper drowns."""
    usual, swamp = look("correlophus-ciliatus"), look("correlophus-ciliatus", own=floor(98, 100))

    for found, fits in ((usual, True), (swamp, False)):
        (woodlouse,) = [each for each in found.candidates if each.species == "porcellio-laevis"]
        assert (woodlouse.fit is not None) is fits
    assert "30 to 97 % (humidity)" in woodlouse.says


@pytest.mark.parametrize(("zone", "told"), [(Zone.CANOPY, True), (Zone.FLOOR, False)])
def test_air_that_may_never_dry_is_told_to_who_needs_it_dry(zone: Zone, told: bool) -> None:
    """A keeper's own damp range against a tree dweller's daily drying, where it lives."""
    damp = ZoneRange(
        day=Spans(humidity=Span(low=75, high=95)), night=Spans(humidity=Span(low=80, high=99))
    )
    found = look("psalmopoeus-irminia", own={zone: damp})

    assert whats(found, "psalmopoeus-irminia") == ({What.DRY_OUT: True} if told else {})
    assert (found.verdict is Verdict.UNFIT) is told
    assert look("psalmopoeus-irminia").verdict is Verdict.FITS


def test_ventilation_that_suits_only_one_is_something_to_watch() -> None:
    """Not serious, but told to both and taken from a candidate's fit."""
    found = look("dendrobates-tinctorius", "neoregelia")

    assert whats(found, "neoregelia") == {What.VENTILATION: False}
    assert found.verdict is Verdict.FITS


def test_a_conflict_of_another_season_is_told_with_its_months() -> None:
    """A winter rest is known in June, and counts."""
    found = look("haworthia", "eublepharis-macularius")

    assert found.conflicts == ()
    assert {each.months for each in found.later} == {(1, 2, 11, 12)}
    assert found.verdict is Verdict.UNFIT
    assert look("haworthia", "eublepharis-macularius", on=JANUARY).conflicts


def test_what_fits_one_animal_is_ranked() -> None:
    """For an empty enclosure and one animal: crew and plants, the fittest first, misfits last."""
    found = look("dendrobates-tinctorius")
    fits = [each.fit for each in found.candidates if each.fit is not None]
    best = {each.species: each for each in found.candidates}

    assert found.verdict is Verdict.FITS
    assert fits == sorted(fits, reverse=True)
    assert [each.fit is None for each in found.candidates] == sorted(
        each.fit is None for each in found.candidates
    )
    assert best["haworthia"].fit is None
    assert "Haworthia yields" in best["haworthia"].says
    assert best["sinella-curviseta"].crew is Crew.SPRINGTAILS
    assert (best["trichorhina-tomentosa"].fit or 0) > (best["cubaris"].fit or 0)


def test_plants_alone_are_measured_by_each_other() -> None:
    """Without an animal nobody yields: what is at odds does not belong together."""
    good, bad = look("epipremnum-aureum", "ficus-pumila"), look("haworthia", "cubaris")

    assert good.verdict is Verdict.FITS
    assert any(each.fit for each in good.candidates)
    assert bad.verdict is Verdict.UNFIT
    assert bad.misfits == ()
    assert What.GROUND in whats(look("ficus-pumila", "haworthia"), "ficus-pumila")


def test_nobody_is_no_company() -> None:
    """An empty enclosure has nothing to compare."""
    found = look()

    assert (found.verdict, found.candidates, found.conflicts) == (Verdict.EMPTY, (), ())
    assert found.says == "Nobody lives here yet."


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(company=companies, on=days, data=st.data())
def test_order_does_not_matter(company: list[str], on: dt.date, data: st.DataObject) -> None:
    """Whoever is named first has no advantage, and naming one twice changes nothing."""
    shuffled = data.draw(st.permutations(company))
    found = look(*company, on=on)

    assert look(*shuffled, *company[:1], on=on) == found


@settings(max_examples=60, deadline=None)
@given(company=companies, on=days)
def test_no_animal_is_ever_a_misfit(company: list[str], on: dt.date) -> None:
    """It is never the animal that is told to go, nor are its limits ever widened."""
    found = look(*company, on=on)
    animals = [each for each in company if each in ANIMALS]
    alone = envelope([LIBRARY.profile(each) for each in animals], on)

    assert not set(found.misfits) & set(animals)
    assert not {each for c in found.conflicts for each in c.odds.yields} & set(animals)
    for zone, ranges in alone.ranges.items():
        assert found.ranges[zone].critical == ranges.critical
        for when in (When.DAY, When.NIGHT):
            for quantity, span in getattr(found.ranges[zone], when).given().items():
                wide = getattr(ranges, when).given().get(quantity)
                assert wide is None or wide.holds(span)


@settings(max_examples=40, deadline=None)
@given(company=companies, on=days)
def test_what_is_aimed_for_is_allowed(company: list[str], on: dt.date) -> None:
    """The aim lies within the ranges, by zone, time and quantity."""
    found = look(*company, on=on)

    assert found.aims.keys() == found.ranges.keys()
    for zone, ranges in found.ranges.items():
        for when in (When.DAY, When.NIGHT):
            aimed = getattr(found.aims[zone], when).given()
            allowed = getattr(ranges, when).given()
            assert aimed.keys() == allowed.keys()
            assert all(allowed[each].holds(span) for each, span in aimed.items())


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(company=companies, on=days)
def test_whoever_is_offered_gets_on(company: list[str], on: dt.date) -> None:
    """A candidate with a fit, moved in with those who stay, is no misfit in any season."""
    found = look(*company, on=on)
    staying = [each for each in company if each not in found.misfits]
    for each in found.candidates[:3]:
        if each.fit is not None:
            assert 0.0 <= each.fit <= 1.0
            assert each.species not in look(*staying, each.species, on=on).misfits


@settings(max_examples=20, deadline=None)
@given(company=companies, on=days)
def test_all_of_it_is_json(company: list[str], on: dt.date) -> None:
    """Whatever the company, the answer has one shape and no number that JSON does not know."""
    told = json.loads(json.dumps(wire(look(*company, on=on), 90.0), allow_nan=False))

    assert told["on"] == on.isoformat()
    assert len(told["inhabitants"]) == len(company)
    for region in told["water"]["regions"]:
        assert len(region["temperature"]) == len(region["vapour_pressure"]) >= 4
