"""A house put together from what its daemons tell: nothing vanishes, nothing looks well unasked."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.house.told import Asked, Told
from monitor.house.whole import House, PlaceSeen, Watch, whole
from monitor.setup.models import Setup
from tests.house.telling import (
    BEGUN_MS,
    NOW_MS,
    alarm,
    answering,
    never,
    place,
    set_up,
    silent,
    told,
)


def house(own: Told, *peers: Asked, placed: Setup | None = None) -> House:
    """The house as ``own`` sees it; a and b and c are set up if nothing else is said."""
    return whole(own, peers, placed or set_up("a", "b", "c"), BEGUN_MS, NOW_MS)


def by_id(seen: House) -> dict[str, PlaceSeen]:
    """Its places."""
    return {each.id: each for each in seen.places}


def test_each_place_is_shown_with_its_owner_and_the_way_there() -> None:
    """What is the asked daemon's own leads to its own pages, the rest to their owners'."""
    seen = house(told("k1", "a"), answering(told("k2", "b", "c")))

    assert {each.id: (each.owners, each.page, each.watch) for each in seen.places} == {
        "a": (("k1",), "/enclosures/a", Watch.WATCHED),
        "b": (("k2",), "http://k2.example:8420/enclosures/b", Watch.WATCHED),
        "c": (("k2",), "http://k2.example:8420/enclosures/c", Watch.WATCHED),
    }
    assert seen.says == "3 enclosures: none needs a hand."
    assert [(each.name, each.answers, each.says) for each in seen.daemons] == [
        ("k1", True, None),
        ("k2", True, None),
    ]


def test_a_dead_peers_places_stand_first_with_what_was_last_known() -> None:
    """In words, since when and why; before a place with a critical alarm."""
    last = told("k2", place("b", alarm("b")), "c")
    own = told("k1", place("a", alarm("a", priority="critical")))
    seen = house(own, silent(last))

    assert [each.id for each in seen.places] == ["b", "c", "a"]
    orphan = seen.places[0]
    assert orphan.watch is Watch.UNWATCHED
    assert orphan.says == "Nobody answers for it since 03:10: k2 does not answer."
    assert orphan.as_of == NOW_MS - 120_000
    assert (orphan.alarms, orphan.probes) == (last.places[0].alarms, last.places[0].probes)
    assert seen.says == "3 enclosures: nobody answers for B and C; A needs a hand."
    assert seen.daemons[1].says == (
        "k2 does not answer since 03:10: no connection (connection refused)."
    )


def test_what_a_peer_never_told_of_is_an_orphan_too() -> None:
    """After a start of our own: the set-up knows the place, and who has not answered."""
    seen = house(told("k1", "a", "b"), never("k2"), never("k3"))

    assert seen.places[0].id == "c"
    assert seen.places[0].says == (
        "Nobody has answered for it since k1 started at 01:00: k2 and k3 do not answer."
    )
    assert (seen.places[0].as_of, seen.places[0].page, seen.places[0].owners) == (None, None, ())


def test_only_who_may_have_it_is_suspected() -> None:
    """A silent peer whose part it is not has nothing to do with it."""
    seen = house(told("k1", "a"), silent(told("k2", "b")), never("k3"))

    assert by_id(seen)["c"].says == (
        "Nobody has answered for it since k1 started at 01:00: k3 does not answer."
    )


def test_a_silent_peer_is_told_though_nothing_of_it_is_known() -> None:
    """Whatever it watches: nobody may read that no enclosure needs a hand."""
    seen = house(told("k1", "a", "b", "c"), never("k2"))

    assert seen.says == "3 enclosures: k2 does not answer."


def test_a_place_that_is_nobodys_is_told() -> None:
    """All daemons answer, and none of them has it."""
    seen = house(told("k1", "a"), answering(told("k2", "b")))

    assert seen.places[0].id == "c"
    assert seen.places[0].says == (
        "Nobody watches it: it is for none of these daemons. Compare [share] in their settings."
    )


def test_a_peer_with_an_old_set_up_is_told() -> None:
    """By its part the place is its own, but it does not know it."""
    lacking = told("k2", "b", share={"enclosures": ["b", "c"]})
    seen = house(told("k1", "a"), answering(lacking))

    assert seen.places[0].says == (
        "Nobody watches it: by its settings it is for k2, whose set-up does not have it. "
        "Apply the same set-up file there."
    )


def test_two_owners_are_told() -> None:
    """After the orphans, before alarms; an alarm counts as seen only if both say so."""
    seen_alarm = alarm("b", state="acknowledged", acknowledged_by="keeper")
    seen = house(
        told("k1", "a", place("b", seen_alarm)),
        answering(told("k2", place("b", alarm("b")))),
        silent(told("k3", "c")),
    )

    assert [each.id for each in seen.places] == ["c", "b", "a"]
    claimed = seen.places[1]
    assert (claimed.watch, claimed.owners) == (Watch.CLAIMED, ("k1", "k2"))
    assert claimed.says == (
        "k1 and k2 each say that it is theirs. Every enclosure has one owner: compare [share] in "
        "their settings."
    )
    assert [each.state for each in claimed.alarms] == ["unacknowledged"]
    assert seen.says == (
        "3 enclosures: nobody answers for C; several daemons claim B; B needs a hand."
    )


def test_one_that_went_over_to_another_daemon_is_no_orphan() -> None:
    """The dead one had it once, a living one has it now."""
    seen = house(told("k1", "a", "b", "c"), silent(told("k2", "b")))

    assert by_id(seen)["b"].watch is Watch.WATCHED
    assert by_id(seen)["b"].owners == ("k1",)


def test_of_several_that_fell_silent_the_last_word_counts() -> None:
    """It is the newest that is known."""
    seen = house(
        told("k1", "a", "c"),
        silent(told("k2", "b"), NOW_MS - 300_000),
        silent(told("k3", "b"), NOW_MS - 60_000),
    )

    assert by_id(seen)["b"].says == "Nobody answers for it since 03:11: k3 does not answer."


def test_what_is_not_set_up_here_is_shown_and_told() -> None:
    """A set-up that differs hides nothing, neither while its daemon lives nor after."""
    strange = told("k2", "b", "z")
    live = by_id(house(told("k1", "a", "c"), answering(strange)))["z"]
    dead = by_id(house(told("k1", "a", "c"), silent(strange)))["z"]

    assert (live.watch, live.name) == (Watch.WATCHED, "Z")
    assert (
        live.says == "The set-up of k1 does not have it; apply the same set-up file to all daemons."
    )
    assert dead.watch is Watch.UNWATCHED


def test_rooms_count_where_they_have_probes() -> None:
    """A room without any needs no owner; one with a probe does, and is no enclosure."""
    placed = set_up("a", rooms={"back": True, "hall": False})
    seen = house(told("k1", "a"), never("k2"), placed=placed)

    assert [(each.id, each.kind) for each in seen.places] == [("back", "room"), ("a", "enclosure")]
    assert seen.says == "1 enclosure: nobody answers for back."


def test_places_stand_by_how_loudly_they_call() -> None:
    """A critical alarm, any other, one that is over, one that was seen, none; then by name."""
    states: dict[str, dict[str, Any]] = {
        "seen": {"state": "acknowledged"},
        "back": {"state": "returned-unacknowledged"},
        "warn": {},
        "grave": {"priority": "critical"},
        "quiet": {"state": "suppressed"},
    }
    own = told("k1", *(place(each, alarm(each, **more)) for each, more in states.items()), "calm")
    seen = house(own, placed=set_up(*states, "calm"))

    assert [each.id for each in seen.places] == ["grave", "warn", "back", "seen", "calm", "quiet"]
    assert seen.says == (
        "6 enclosures: GRAVE and WARN need a hand; BACK is well again; see what happened."
    )


def test_an_alarm_that_was_seen_is_no_news() -> None:
    """The headline says so, as the room page does."""
    own = told("k1", place("a", alarm("a", state="acknowledged")))

    assert house(own, placed=set_up("a")).says == "1 enclosure: nothing new. You know about A."


PLACES = ("a", "b", "c", "d")


@st.composite
def peers(draw: st.DrawFn) -> list[Asked]:
    """Any three others: each tells of anything and answers, fell silent, or never answered."""
    made = []
    for name in ("k2", "k3", "k4"):
        words = told(name, *draw(st.lists(st.sampled_from((*PLACES, "z")), unique=True)))
        made.append(draw(st.sampled_from((answering(words), silent(words), never(name)))))
    return made


@given(own=st.lists(st.sampled_from(PLACES), unique=True), others=peers())
def test_no_place_vanishes_or_looks_well_unwatched(own: list[str], others: list[Asked]) -> None:
    """Every place that is set up stands there once, watched exactly if one daemon says so."""
    mine = told("k1", *own)
    seen = house(mine, *others, placed=set_up(*PLACES))
    living = [mine, *(each.told for each in others if each.answers and each.told)]

    assert len(seen.places) == len(by_id(seen))
    assert set(PLACES) <= by_id(seen).keys()
    for each in seen.places:
        owners = [words.daemon for words in living if each.id in {p.id for p in words.places}]
        expected = {0: Watch.UNWATCHED, 1: Watch.WATCHED}.get(len(owners), Watch.CLAIMED)
        assert each.watch is expected
        assert (each.says is None) <= (expected is Watch.WATCHED)
        if owners:
            assert list(each.owners) == owners
    if any(each.watch is not Watch.WATCHED for each in seen.places) or any(
        not each.answers for each in others
    ):
        assert "none needs a hand" not in seen.says


@pytest.mark.parametrize("watch", [Watch.UNWATCHED, Watch.WATCHED])
def test_it_can_be_read_back(watch: Watch) -> None:
    """What the API answers is what it means: the JSON reads back as the same house."""
    peer = told("k2", place("b", alarm("b")), "c")
    seen = house(told("k1", "a"), silent(peer) if watch is Watch.UNWATCHED else answering(peer))

    assert House.model_validate_json(seen.model_dump_json()) == seen
    assert Told.model_validate_json(peer.model_dump_json()) == peer
