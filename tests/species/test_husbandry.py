"""The shipped profiles against what was gathered on each species, written down here once more.

Each row was gathered before the profiles were written: from veterinary texts and papers
(published), from keepers' pages and forums (common practice, no source), or known without looking
it up (from memory). A number that is changed in a profile must be changed here too, on purpose.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

import pytest

from monitor.documents.toml import read_toml
from monitor.quantities import Quantity
from monitor.species.library import SHIPPED, load_library
from monitor.species.profile import Basis, Habit, Kind, When
from monitor.species.ranges import Ranged, Span, Zone

LIBRARY = load_library()
T: Ranged = Quantity.TEMPERATURE
H: Ranged = Quantity.HUMIDITY
DAY, NIGHT, ALWAYS = When.DAY, When.NIGHT, None
V, K, C = Basis.PUBLISHED, Basis.PRACTICE, Basis.MEMORY


class Row(NamedTuple):
    """One cell of the gathered table."""

    species: str
    quantity: Ranged
    where: str
    when: When | None
    grade: str
    low: float
    high: float
    basis: Basis


ROWS = [
    Row("psalmopoeus-irminia", T, "air", DAY, "preferred", 24, 28, C),
    Row("psalmopoeus-irminia", T, "air", NIGHT, "preferred", 20, 24, C),
    Row("psalmopoeus-irminia", H, "air", ALWAYS, "preferred", 65, 80, C),
    Row("psalmopoeus-irminia", T, "air", ALWAYS, "preferred", 24, 29, K),
    Row("psalmopoeus-irminia", H, "air", ALWAYS, "preferred", 70, 90, K),
    Row("aphonopelma-chalcodes", T, "air", DAY, "preferred", 21, 29, K),
    Row("aphonopelma-chalcodes", T, "air", NIGHT, "preferred", 18, 22, C),
    Row("aphonopelma-chalcodes", H, "air", ALWAYS, "preferred", 30, 50, C),
    Row("correlophus-ciliatus", T, "air", DAY, "preferred", 22, 26, K),
    Row("correlophus-ciliatus", T, "air", NIGHT, "preferred", 18, 22, K),
    Row("correlophus-ciliatus", H, "air", ALWAYS, "preferred", 50, 70, K),
    Row("phelsuma-grandis", T, "air", DAY, "preferred", 27, 29, K),
    Row("phelsuma-grandis", T, "air", NIGHT, "preferred", 19, 24, K),
    Row("phelsuma-grandis", H, "air", ALWAYS, "preferred", 50, 75, K),
    Row("phelsuma-madagascariensis", T, "air", DAY, "preferred", 27, 29, K),
    Row("phelsuma-madagascariensis", T, "air", NIGHT, "preferred", 19, 24, K),
    Row("phelsuma-madagascariensis", H, "air", ALWAYS, "preferred", 50, 75, K),
    Row("eublepharis-macularius", T, "cool", DAY, "preferred", 24, 27, K),
    Row("eublepharis-macularius", T, "basking", DAY, "preferred", 32, 35, K),
    Row("eublepharis-macularius", T, "air", NIGHT, "preferred", 18, 24, K),
    Row("eublepharis-macularius", H, "air", DAY, "preferred", 30, 40, K),
    Row("eublepharis-macularius", H, "air", NIGHT, "preferred", 40, 80, K),
    Row("eublepharis-macularius", H, "air", NIGHT, "preferred", 30, 40, K),
    Row("pogona-vitticeps", T, "basking", DAY, "preferred", 35, 39, V),
    Row("pogona-vitticeps", T, "basking", DAY, "preferred", 38, 42, V),
    Row("pogona-vitticeps", T, "air", NIGHT, "preferred", 18, 24, C),
    Row("pogona-vitticeps", T, "cool", DAY, "preferred", 25, 29, C),
    Row("pogona-vitticeps", H, "air", ALWAYS, "preferred", 10, 20, V),
    Row("pogona-vitticeps", H, "air", ALWAYS, "preferred", 30, 40, K),
    Row("python-regius", T, "air", DAY, "tolerated", 25, 34, V),
    Row("python-regius", T, "basking", DAY, "preferred", 31, 33, K),
    Row("python-regius", T, "air", NIGHT, "preferred", 24, 26, K),
    Row("python-regius", T, "cool", ALWAYS, "preferred", 24, 26, K),
    Row("python-regius", H, "air", ALWAYS, "preferred", 50, 60, K),
    Row("python-regius", H, "air", ALWAYS, "preferred", 60, 80, K),
    Row("pantherophis-guttatus", T, "air", DAY, "tolerated", 25, 32, V),
    Row("pantherophis-guttatus", T, "basking", DAY, "preferred", 29, 31, K),
    Row("pantherophis-guttatus", T, "air", NIGHT, "preferred", 20, 24, K),
    Row("pantherophis-guttatus", T, "cool", ALWAYS, "preferred", 20, 24, K),
    Row("pantherophis-guttatus", H, "air", ALWAYS, "preferred", 40, 60, K),
    Row("dendrobates-tinctorius", T, "air", DAY, "preferred", 21, 26, K),
    Row("dendrobates-tinctorius", T, "air", DAY, "tolerated", 18, 27, K),
    Row("dendrobates-tinctorius", T, "air", NIGHT, "preferred", 18, 22, K),
    Row("dendrobates-tinctorius", H, "air", ALWAYS, "preferred", 80, 100, K),
    Row("dendrobates-tinctorius", H, "air", ALWAYS, "critical", 50, 100, K),
    Row("dendrobates-auratus", T, "air", DAY, "preferred", 21, 26, K),
    Row("dendrobates-auratus", T, "air", DAY, "tolerated", 18, 27, K),
    Row("dendrobates-auratus", T, "air", NIGHT, "preferred", 18, 22, K),
    Row("dendrobates-auratus", H, "air", ALWAYS, "preferred", 80, 100, K),
    Row("dendrobates-auratus", H, "air", ALWAYS, "critical", 50, 100, K),
    Row("litoria-caerulea", T, "air", DAY, "preferred", 26, 29, K),
    Row("litoria-caerulea", T, "air", NIGHT, "preferred", 20, 24, K),
    Row("litoria-caerulea", H, "air", ALWAYS, "preferred", 40, 70, C),
    Row("agalychnis-callidryas", T, "air", DAY, "preferred", 24, 28, C),
    Row("agalychnis-callidryas", T, "air", NIGHT, "preferred", 19, 23, C),
    Row("agalychnis-callidryas", H, "air", ALWAYS, "preferred", 60, 90, C),
    Row("ficus-pumila", T, "air", DAY, "preferred", 15, 27, C),
    Row("ficus-pumila", H, "air", ALWAYS, "preferred", 50, 80, C),
    Row("neoregelia", T, "air", DAY, "preferred", 18, 29, C),
    Row("neoregelia", H, "air", ALWAYS, "preferred", 50, 75, C),
    Row("epipremnum-aureum", T, "air", DAY, "preferred", 18, 29, C),
    Row("epipremnum-aureum", H, "air", ALWAYS, "preferred", 40, 70, C),
    Row("haworthia", T, "air", DAY, "preferred", 18, 27, K),
    Row("haworthia", T, "air", NIGHT, "preferred", 10, 16, K),
    Row("haworthia", H, "air", ALWAYS, "preferred", 30, 50, K),
    Row("folsomia-candida", T, "floor", ALWAYS, "tolerated", 15, 24, V),
    Row("folsomia-candida", T, "floor", ALWAYS, "preferred", 20, 21, V),
    Row("sinella-curviseta", T, "floor", DAY, "tolerated", 21, 28, C),
    Row("sinella-curviseta", H, "substrate", ALWAYS, "tolerated", 80, 100, C),
    Row("porcellio-scaber", T, "floor", DAY, "tolerated", 18, 26, C),
    Row("porcellio-scaber", T, "floor", DAY, "tolerated", 21, 27, K),
    Row("porcellio-scaber", H, "floor", ALWAYS, "preferred", 50, 70, C),
    Row("porcellio-laevis", T, "floor", DAY, "tolerated", 18, 26, C),
    Row("porcellio-laevis", T, "floor", DAY, "tolerated", 21, 27, K),
    Row("porcellio-laevis", H, "floor", ALWAYS, "preferred", 50, 70, C),
    Row("porcellio-hoffmannseggii", T, "floor", DAY, "tolerated", 20, 28, C),
    Row("porcellio-hoffmannseggii", H, "floor", ALWAYS, "preferred", 40, 60, C),
    Row("merulanella", T, "floor", DAY, "tolerated", 22, 27, C),
    Row("merulanella", H, "floor", ALWAYS, "preferred", 70, 90, C),
    Row("cubaris", T, "floor", DAY, "tolerated", 22, 27, C),
    Row("cubaris", H, "floor", ALWAYS, "preferred", 70, 90, C),
    # What a crew survives: known without looking it up, on the safe side.
    Row("porcellio-scaber", T, "floor", ALWAYS, "critical", 2, 32, C),
    Row("porcellio-scaber", H, "floor", ALWAYS, "critical", 30, 97, C),
    Row("porcellio-laevis", T, "floor", ALWAYS, "critical", 5, 33, C),
    Row("porcellio-laevis", H, "floor", ALWAYS, "critical", 30, 97, C),
    Row("porcellio-hoffmannseggii", T, "floor", ALWAYS, "critical", 8, 34, C),
    Row("porcellio-hoffmannseggii", H, "floor", ALWAYS, "critical", 20, 90, C),
    Row("cubaris", T, "floor", ALWAYS, "critical", 12, 31, C),
    Row("cubaris", H, "floor", ALWAYS, "critical", 50, 100, C),
    Row("merulanella", T, "floor", ALWAYS, "critical", 12, 31, C),
    Row("merulanella", H, "floor", ALWAYS, "critical", 50, 100, C),
    Row("trichorhina-tomentosa", T, "floor", ALWAYS, "critical", 10, 32, C),
    Row("trichorhina-tomentosa", H, "floor", ALWAYS, "critical", 50, 100, C),
    Row("folsomia-candida", T, "floor", ALWAYS, "critical", 2, 28, C),
    Row("folsomia-candida", H, "substrate", ALWAYS, "critical", 75, 100, C),
    Row("sinella-curviseta", T, "floor", ALWAYS, "critical", 10, 33, C),
    Row("sinella-curviseta", H, "substrate", ALWAYS, "critical", 70, 100, C),
]


def _name(row: Row) -> str:
    return f"{row.species}-{row.quantity}-{row.where}-{row.when or 'always'}-{row.low:g}"


@pytest.mark.parametrize("row", ROWS, ids=_name)
def test_what_was_gathered_stands_in_the_profile(row: Row) -> None:
    """Every gathered range is there, in its place, with the provenance it came with."""
    stated = [
        cited
        for cited in LIBRARY.profile(row.species).range
        if cited.quantity == row.quantity
        and cited.when == row.when
        and cited.grades().get(row.grade) == Span(low=row.low, high=row.high)
        and (not cited.zones if row.where == "air" else Zone(row.where) in cited.zones)
    ]

    assert [cited.basis for cited in stated] == [row.basis]


@pytest.mark.parametrize(
    ("species", "zone", "when", "edge", "value"),
    [
        ("ficus-pumila", Zone.FLOOR, NIGHT, "low", 10),
        ("neoregelia", Zone.FLOOR, NIGHT, "low", 12),
        ("epipremnum-aureum", Zone.FLOOR, NIGHT, "low", 13),
        ("phelsuma-grandis", Zone.BASKING, DAY, "preferred", 32),
        ("litoria-caerulea", Zone.BASKING, DAY, "preferred", 30),
        ("correlophus-ciliatus", Zone.CANOPY, DAY, "high", 28),
        ("dendrobates-tinctorius", Zone.FLOOR, When.CRITICAL, "high", 28),
        ("dendrobates-auratus", Zone.FLOOR, When.CRITICAL, "high", 28),
    ],
)
def test_single_limits_that_were_gathered_hold(
    species: str, zone: Zone, when: When, edge: str, value: float
) -> None:
    """Where only one end was known, that end is the one used; "preferred" means its upper end."""
    need = LIBRARY.profile(species).need(zone, T, when, month=6)

    assert need is not None
    assert {
        "low": need.tolerated.low,
        "high": need.tolerated.high,
        "preferred": need.preferred.high,
    }[edge] == value


def test_the_winter_rest_of_haworthia_is_a_season() -> None:
    """Winter rest 10 to 15, growers' practice; the rest of the year is not touched."""
    haworthia = LIBRARY.profile("haworthia")
    january = haworthia.need(Zone.FLOOR, T, NIGHT, month=1)
    june = haworthia.need(Zone.FLOOR, T, NIGHT, month=6)

    assert haworthia.season[0].range[0].basis is K
    assert january is not None
    assert january.preferred == Span(low=10, high=15)
    assert june is not None
    assert june.preferred == Span(low=10, high=16)


@pytest.mark.parametrize(
    ("species", "quantity", "span"),
    [
        ("pogona-vitticeps", H, (30, 40)),
        ("python-regius", H, (50, 60)),
        ("eublepharis-macularius", H, (30, 40)),
        ("psalmopoeus-irminia", T, (24, 29)),
    ],
)
def test_conflicting_sources_stay_on_record_unused(
    species: str, quantity: Ranged, span: tuple[float, float]
) -> None:
    """A range that another source contradicts is kept, and marked as not the one in use."""
    unused = [cited for cited in LIBRARY.profile(species).range if not cited.used]

    assert [(c.quantity, c.preferred) for c in unused if c.quantity == quantity] == [
        (quantity, Span(low=span[0], high=span[1]))
    ]


def test_the_library_is_wide_enough() -> None:
    """Animals of many ways of life, plants and crew; at least two dozen in all."""
    kinds = [LIBRARY.profile(species).kind for species in LIBRARY]

    assert len(LIBRARY) >= 24
    assert kinds.count(Kind.ANIMAL) >= 12
    assert kinds.count(Kind.PLANT) >= 4
    assert kinds.count(Kind.CREW) >= 6


@pytest.mark.parametrize("species", list(LIBRARY))
def test_every_number_has_a_provenance(species: str) -> None:
    """Numbers stand beside their basis; a figure in running text names its basis in that text."""
    for table in _tables(read_toml(SHIPPED / f"{species}.toml")):
        numeric = [key for key, value in table.items() if _has_number(value)]
        assert not numeric or "basis" in table, f"{species}: {numeric}"
        for key, value in table.items():
            for text in value if isinstance(value, list) else [value]:
                if key != "source" and isinstance(text, str) and any(map(str.isdigit, text)):
                    assert any(basis in text for basis in Basis), f"{species}: {text}"


@pytest.mark.parametrize(
    "species", [each for each in LIBRARY if LIBRARY.profile(each).kind is Kind.CREW]
)
def test_every_crew_says_what_it_survives_and_how_large_it_grows(species: str) -> None:
    """Whether it would be eaten, or die, can be told of each; with provenance, from memory."""
    profile = LIBRARY.profile(species)
    zones = [Zone.FLOOR, Zone.SUBSTRATE]

    assert profile.size is not None
    assert profile.size.basis is C
    for quantity in (T, H):
        assert any(profile.need(zone, quantity, When.CRITICAL, month=6) for zone in zones)


@pytest.mark.parametrize("species", list(LIBRARY))
def test_every_profile_says_what_the_trade_asks_first(species: str) -> None:
    """Ventilation and ground in one word (none for what grows on wood), and an animal's moult."""
    profile = LIBRARY.profile(species)

    assert (profile.ground is None) == (species == "tillandsia-ionantha")
    if profile.kind is Kind.ANIMAL:
        assert profile.moult
        assert profile.prey
        assert profile.habit is not Habit.NONE


@pytest.mark.parametrize("month", [1, 7])
@pytest.mark.parametrize("zone", [Zone.CANOPY, Zone.FLOOR])
@pytest.mark.parametrize(
    "species", [species for species in LIBRARY if LIBRARY.profile(species).kind is Kind.ANIMAL]
)
def test_every_animal_can_be_watched(species: str, zone: Zone, month: int) -> None:
    """In the air at large an animal has ranges for day and night, within its critical ones."""
    profile = LIBRARY.profile(species)
    for quantity in (T, H):
        critical = profile.need(zone, quantity, When.CRITICAL, month)
        assert critical is not None
        for when in (DAY, NIGHT):
            need = profile.need(zone, quantity, when, month)
            assert need is not None
            assert critical.tolerated.holds(need.tolerated)
            assert need.tolerated.holds(need.preferred)


def _tables(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        value = list(value.values())
    for each in value if isinstance(value, list) else ():
        yield from _tables(each)


def _has_number(value: object) -> bool:
    if isinstance(value, list):
        return any(_has_number(each) for each in value)
    return isinstance(value, int | float) and not isinstance(value, bool)
