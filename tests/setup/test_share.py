"""Which daemon watches what."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from monitor.setup.share import ShareSettings

ids = st.from_regex(r"[a-z0-9][a-z0-9-]{0,12}", fullmatch=True)


def part(text: str) -> ShareSettings:
    """A share by part."""
    return ShareSettings(part=text)


@given(place=ids, of=st.integers(1, 50))
def test_every_place_has_exactly_one_part(place: str, of: int) -> None:
    """Whatever the ids: the parts leave nothing out and hold nothing twice."""
    assert sum(part(f"{n}/{of}").has(place) for n in range(1, of + 1)) == 1


def test_parts_are_about_even() -> None:
    """A thousand enclosures on four daemons: none has less than a fifth of them."""
    own = [sum(part(f"{n}/4").has(f"e{each}") for each in range(1_000)) for n in range(1, 5)]

    assert sum(own) == 1_000
    assert min(own) > 200


def test_the_part_of_a_place_never_changes() -> None:
    """It is its CRC-32 modulo the number of parts, and stays so in every version.

    0xCBF43926 is the published check value of CRC-32 (ISO-HDLC) for these nine digits.
    """
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert part("1/1000").has("x") is (zlib.crc32(b"x") % 1000 == 0)
    assert part(f"{0xCBF43926 % 1000 + 1}/1000").has("123456789")


shares = st.one_of(
    st.just(ShareSettings()),
    st.builds(ShareSettings, enclosures=st.lists(ids, min_size=1, max_size=4).map(tuple)),
    st.integers(1, 4).flatmap(
        lambda of: st.builds(part, st.integers(1, of).map(lambda n: f"{n}/{of}"))
    ),
)


@given(one=shares, other=shares, places=st.lists(ids, max_size=20))
def test_shares_that_do_not_meet_have_nothing_in_common(
    one: ShareSettings, other: ShareSettings, places: list[str]
) -> None:
    """And meeting goes both ways."""
    assert one.meets(other) == other.meets(one)
    if not one.meets(other):
        for place in (*places, *one.enclosures, *other.enclosures):
            assert not (one.has(place) and other.has(place))


@pytest.mark.parametrize(
    ("one", "other", "meets"),
    [
        (part("1/4"), part("2/4"), False),
        (part("2/4"), part("02/4"), True),
        (part("1/2"), part("2/3"), True),
        (ShareSettings(), part("2/4"), True),
        (ShareSettings(enclosures=("a", "b")), ShareSettings(enclosures=("b",)), True),
        (ShareSettings(enclosures=("a",)), ShareSettings(enclosures=("b",)), False),
        (ShareSettings(enclosures=("cork-cube",)), part("3/4"), True),
        (ShareSettings(enclosures=("cork-cube",)), part("2/4"), False),
    ],
)
def test_what_meets(one: ShareSettings, other: ShareSettings, meets: bool) -> None:
    """Lists by their ids, parts by their numbers, and different divisions always."""
    assert one.meets(other) is meets


@pytest.mark.parametrize("text", ["0/4", "5/4", "1", "a/b", "1/4 ", "-1/4", "1/0"])
def test_a_part_is_one_of_so_many(text: str) -> None:
    """Anything else is told with what would be right."""
    with pytest.raises(ValidationError, match="the second of four"):
        part(text)
