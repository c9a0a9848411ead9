"""What inhabitants can share: properties of the algebra, then real companies."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from monitor.quantities import Quantity
from monitor.species.envelope import Envelope, Share, Wish, envelope, share
from monitor.species.library import load_library
from monitor.species.profile import Kind, Need, Profile, When
from monitor.species.ranges import Span, Zone

LIBRARY = load_library()
NARROWEST = 2.0
JUNE = dt.date(2027, 6, 15)
JANUARY = dt.date(2027, 1, 15)


def _wish(species: str, kind: Kind, low: float, high: float, *best: float) -> Wish:
    tolerated = Span(low=low, high=high)
    preferred = Span(low=best[0], high=best[1]) if best else tolerated
    return Wish(species, kind, Need(tolerated, preferred))


@st.composite
def wishes(draw: st.DrawFn, kinds: tuple[Kind, ...] = tuple(Kind)) -> Wish:
    """Any wish of an inhabitant of one of the kinds."""
    a, b, c, d = sorted(draw(st.lists(_edges, min_size=4, max_size=4, unique=True)))
    species = draw(st.text("abcdefgh", min_size=1, max_size=2))
    kind = draw(st.sampled_from(kinds))
    tolerated = Span(low=a, high=d)
    preferred = Span(low=b, high=c) if draw(st.booleans()) else tolerated
    return Wish(species, kind, Need(tolerated, preferred))


_edges = st.integers(0, 80).map(lambda n: n / 2) | st.floats(0, 40)


def lists_of(kinds: tuple[Kind, ...]) -> st.SearchStrategy[list[Wish]]:
    """Some inhabitants of those kinds, each of another species."""
    return st.lists(wishes(kinds), max_size=6, unique_by=lambda wish: wish.species)


companies = lists_of(tuple(Kind))


@given(company=companies, data=st.data())
def test_order_does_not_matter(company: list[Wish], data: st.DataObject) -> None:
    """Whoever is named first has no advantage."""
    shuffled = data.draw(st.permutations(company))

    assert share(shuffled, NARROWEST) == share(company, NARROWEST)


@given(company=companies)
def test_an_animal_never_yields(company: list[Wish]) -> None:
    """The shared span lies within what each animal tolerates; only animals can undo it."""
    shared = share(company, NARROWEST)
    animals = [wish for wish in company if wish.kind is Kind.ANIMAL]
    alone = share(animals, NARROWEST)

    assert not {s for odds in shared.odds for s in odds.yields} & {a.species for a in animals}
    if animals:
        assert (shared.span is None) == (alone.span is None)
    if shared.span is not None:
        assert all(animal.need.tolerated.holds(shared.span) for animal in animals)


@given(animal=wishes((Kind.ANIMAL,)), others=lists_of((Kind.PLANT, Kind.CREW)))
def test_an_animal_keeps_enough_of_what_it_prefers(animal: Wish, others: list[Wish]) -> None:
    """However many plants and crew move in, they never leave it a sliver."""
    span = share([animal._replace(species="the animal"), *others], NARROWEST).span

    assert span is not None
    best = animal.need.preferred
    assert _common(span, best) >= min(NARROWEST, best.high - best.low)


@given(company=companies, newcomer=wishes())
def test_who_shares_never_widens(company: list[Wish], newcomer: Wish) -> None:
    """One more inhabitant, as long as all get on, can only narrow the span."""
    before = share(company, NARROWEST)
    after = share([*company, newcomer._replace(species="newcomer")], NARROWEST)

    if not after.odds:
        assert after.span is not None
        assert not company or (before.span is not None and before.span.holds(after.span))


@given(company=companies, newcomer=wishes((Kind.PLANT, Kind.CREW)))
def test_who_yields_to_an_animal_changes_nothing(company: list[Wish], newcomer: Wish) -> None:
    """A plant or crew member at odds with an animal leaves the span as it was."""
    before = share(company, NARROWEST)
    after = share([*company, newcomer._replace(species="newcomer")], NARROWEST)

    if any(odds.yields == ("newcomer",) for odds in after.odds):
        assert after.span == before.span


@given(company=companies, newcomer=wishes())
def test_nobody_widens_what_the_animals_share(company: list[Wish], newcomer: Wish) -> None:
    """Another animal narrows the animals' span or ends it; a plant or crew member stays within."""
    animals = [wish for wish in company if wish.kind is Kind.ANIMAL]
    before = share(animals, NARROWEST).span
    newcomer = newcomer._replace(species="newcomer")
    after = share([*animals, newcomer], NARROWEST).span
    with_all = share([*company, newcomer], NARROWEST).span

    if animals and before is None and newcomer.kind is not Kind.ANIMAL:
        assert after is None
    if before is not None:
        assert after is None or before.holds(after)
        assert with_all is None or before.holds(with_all)


@given(company=lists_of((Kind.ANIMAL,)) | lists_of((Kind.PLANT, Kind.CREW)))
def test_equals_share_all_or_nothing(company: list[Wish]) -> None:
    """Among equals the span is what all tolerate, and without odds there always is one."""
    shared = share(company, NARROWEST)

    assert (shared.span is None) == (bool(shared.odds) or not company)
    if shared.span is not None:
        assert shared.span.low == max(wish.need.tolerated.low for wish in company)
        assert shared.span.high == min(wish.need.tolerated.high for wish in company)


def test_nobody_asks_for_nothing() -> None:
    """Without inhabitants there is no span and no conflict."""
    assert share([], NARROWEST) == Share(None, ())
    assert envelope([], JUNE) == Envelope({}, ())


def test_a_plant_narrows_what_the_animal_tolerates() -> None:
    """As long as it leaves enough of what the animal prefers."""
    gecko = _wish("gecko", Kind.ANIMAL, 18, 30, 22, 26)
    fern = _wish("fern", Kind.PLANT, 10, 24)

    assert share([gecko, fern], NARROWEST) == Share(Span(low=18, high=24), ())


def test_a_plant_that_leaves_a_sliver_yields() -> None:
    """Sharing 1 K of what the animal prefers is not sharing; the conflict says how little."""
    gecko = _wish("gecko", Kind.ANIMAL, 18, 30, 22, 26)
    fern = _wish("fern", Kind.PLANT, 10, 23)

    span, (odds,) = share([gecko, fern], NARROWEST)

    assert span == Span(low=18, high=30)
    assert odds.species == ("fern", "gecko")
    assert odds.spans == (Span(low=10, high=23), Span(low=22, high=26))
    assert (odds.apart, odds.yields) == (-1, ("fern",))


def test_plants_that_only_together_leave_too_little_both_yield() -> None:
    """Neither is favoured by its name; the animal's range stands."""
    gecko = _wish("gecko", Kind.ANIMAL, 18, 30, 20, 28)
    fern = _wish("fern", Kind.PLANT, 10, 23)
    palm = _wish("palm", Kind.PLANT, 25, 40)

    span, (odds,) = share([gecko, fern, palm], NARROWEST)

    assert span == Span(low=18, high=30)
    assert (odds.apart, odds.yields) == (2, ("fern", "palm"))


def test_animals_at_odds_leave_no_range() -> None:
    """No range is right for both, and none is made up."""
    newt = _wish("newt", Kind.ANIMAL, 12, 20)
    gecko = _wish("gecko", Kind.ANIMAL, 24, 30)

    span, (odds,) = share([newt, gecko], NARROWEST)

    assert span is None
    assert (odds.apart, odds.yields) == (4, ())


def test_a_dart_frog_is_not_moved_by_a_succulent() -> None:
    """The frog's humidity stands, and the keeper is told what does not belong together."""
    alone = envelope(_profiles("dendrobates-auratus"), JUNE)
    together = envelope(_profiles("dendrobates-auratus", "haworthia"), JUNE)

    floor = together.ranges[Zone.FLOOR]
    assert floor.day.humidity == alone.ranges[Zone.FLOOR].day.humidity
    assert floor.critical == alone.ranges[Zone.FLOOR].critical
    names = {"haworthia": "Haworthia", "dendrobates-auratus": "the frog"}
    assert (
        "Humidity by day (all the air): Haworthia needs 15 to 65 %, the frog 80 to 100 %, "
        "15 % apart. Haworthia yields."
    ) in [conflict.says(names) for conflict in together.conflicts]


def test_a_temperate_springtail_is_no_crew_for_a_tropical_spider() -> None:
    """The published 15 to 24 of the springtail leave nothing of the spider's 24 to 28."""
    together = envelope(_profiles("folsomia-candida", "psalmopoeus-irminia"), JUNE)

    (conflict,) = [c for c in together.conflicts if c.when is When.DAY]
    assert conflict.quantity is Quantity.TEMPERATURE
    assert conflict.zones == (Zone.FLOOR,)
    assert conflict.odds.yields == ("folsomia-candida",)
    assert together.ranges[Zone.FLOOR].day.temperature == Span(low=20, high=30)
    assert together.ranges[Zone.SUBSTRATE].day.temperature == Span(low=15, high=24)


def test_the_season_of_the_day_counts() -> None:
    """A winter rest makes a plant unfit in January that gets on in June."""
    company = _profiles("haworthia", "eublepharis-macularius")
    june, january = (
        {(c.quantity, c.when) for c in envelope(company, on_date).conflicts}
        for on_date in (JUNE, JANUARY)
    )

    assert (Quantity.TEMPERATURE, When.DAY) not in june
    assert (Quantity.TEMPERATURE, When.DAY) in january


def test_the_same_species_twice_counts_once() -> None:
    """Two entries of one species are no company of two."""
    once = envelope(_profiles("python-regius"), JUNE)

    assert envelope(_profiles("python-regius", "python-regius"), JUNE) == once


def _profiles(*species: str) -> list[Profile]:
    return [LIBRARY.profile(each) for each in species]


def _common(one: Span, other: Span) -> float:
    return min(one.high, other.high) - max(one.low, other.low)
