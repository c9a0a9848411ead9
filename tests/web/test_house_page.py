"""The house page: orphans first and never well, every failure in plain words, links to owners."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.house.told import AlarmTold, Asked, PlaceTold, ProbeTold, Told, ValueTold
from monitor.house.whole import whole
from monitor.quantities import MEASURED
from monitor.setup.models import Setup
from monitor.web.house import house_view
from monitor.web.known import Known
from monitor.web.units import Temperature, Units
from tests.house.telling import alarm, place, told, value
from tests.support.answering import Answering
from tests.support.rig import LIBRARY
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

ONE = {"id": "back", "name": "Back room", "probe": [{"id": "air"}]}
FURNITURE: dict[str, Any] = {
    "room": [ONE],
    "enclosure": [enclosure("amber-jar", "Amber jar"), enclosure()],
}


def words(*places: str | dict[str, Any]) -> bytes:
    """What keeper-2 answers."""
    return told("keeper-2", *places).model_dump_json().encode()


@pytest.fixture
def peer() -> Iterator[Answering]:
    """keeper-2, which watches Cork cube."""
    server = Answering(lambda request: request.give(words("cork-cube")))
    yield server
    server.close()


@pytest.fixture
def show(make_show: MakeShow, peer: Answering) -> Show:
    """keeper-1, which watches the rest and has asked keeper-2 once."""
    show = make_show(
        FURNITURE,
        settings={
            "broker": {"client_id": "keeper-1"},
            "share": {"enclosures": ["amber-jar", "back"]},
            "peer": [{"name": "keeper-2", "url": peer.url}],
        },
    )
    show.publish("dewkeep/amber-jar/canopy", 22.0, 80.0, since_h=1)
    show.parts.peers.ask()
    return show


def page(show: Show) -> str:
    """The house page."""
    answer = show.get("/house")
    assert answer.status_code == 200, answer.text
    return answer.text


def article(text: str, place_id: str) -> str:
    """What the page says of one place, as plain text."""
    found = re.search(rf'<article id="{place_id}".*?</article>', text, re.DOTALL)
    assert found, text
    plain = re.sub(r"<[^>]+>", " ", found[0]).replace("&nbsp;", " ")
    return " ".join(plain.replace("\N{NO-BREAK SPACE}", " ").split())


def test_every_place_has_its_owner_its_values_and_their_age(show: Show, peer: Answering) -> None:
    """The asked daemon's own and the peers' alike; a name leads to the page at its owner."""
    text = page(show)

    assert "<h1>2 enclosures: none needs a hand.</h1>" in text
    assert f'<a href="{peer.url}/enclosures/cork-cube">Cork cube</a>' in text
    assert '<a href="/enclosures/amber-jar">Amber jar</a>' in text
    assert article(text, "cork-cube") == (
        "Cork cube watched by keeper-2 In range canopy humidity 75 % in range 60 s ago"
    )
    assert article(text, "amber-jar").startswith("Amber jar watched by keeper-1 (here) In range")
    assert article(text, "back").startswith(
        "Back room watched by keeper-1 (here) Nothing heard yet"
    )


def test_an_alarm_of_a_peer_is_told_in_its_words(show: Show, peer: Answering) -> None:
    """Title, priority, sentence and cause; who saw it; no button, for it is not ours to see."""
    calling = place("cork-cube", alarm("cork-cube", priority="critical"))
    peer.answer = lambda request: request.give(words(calling))
    show.parts.peers.ask()
    text = page(show)

    assert "<h1>2 enclosures: Cork cube needs a hand.</h1>" in text
    assert text.index('id="cork-cube"') < text.index('id="amber-jar"')
    said = article(text, "cork-cube")
    assert "Too dry since 02:18" in said
    assert "Critical. Humidity in the canopy has been below 60 % since 02:18" in said
    assert "Water has left the air." in said
    assert "<button" not in text


def test_a_value_out_of_range_is_judged_by_the_set_up(show: Show, peer: Answering) -> None:
    """All daemons have the same set-up: what no alarm tells yet is told all the same."""
    probe = {"probe": "canopy", "zone": "canopy", "silent_after_s": 300}
    dry = place("cork-cube", probes=[probe | {"values": [value(number=64.0)]}])
    peer.answer = lambda request: request.give(words(dry))
    show.parts.peers.ask()

    said = article(page(show), "cork-cube")
    assert "Out of range, no alarm yet" in said
    assert "64 % too dry" in said


def test_a_dead_peers_enclosure_stands_first_and_looks_well_no_more(
    show: Show, peer: Answering
) -> None:
    """Since when, why, what was last known and how old that is; nothing is in range any more."""
    peer.answer = lambda request: request.give(b"", 500)
    show.now_ms += 60_000
    show.parts.peers.ask()
    text = page(show)

    assert "<h1>2 enclosures: nobody answers for Cork cube.</h1>" in text
    assert text.index('id="cork-cube"') < text.index('id="amber-jar"')
    assert article(text, "cork-cube") == (
        "Cork cube last watched by keeper-2 Nobody answers for it since 03:12: keeper-2 does not "
        "answer. What was last known, at 03:12: canopy humidity 75 % 2 min ago"
    )
    assert "keeper-2 does not answer since 03:12: HTTP 500." in text


def test_what_was_never_known_is_shown_too(make_show: MakeShow, peer: Answering) -> None:
    """A peer that has not answered since our own start hides nothing of the set-up."""
    peer.answer = lambda request: request.give(b"<html>")
    show = make_show(
        FURNITURE,
        settings={
            "broker": {"client_id": "keeper-1"},
            "share": {"enclosures": ["amber-jar", "back"]},
            "peer": [{"name": "keeper-2", "url": peer.url}],
        },
    )
    show.parts.peers.ask()
    text = page(show)

    assert article(text, "cork-cube") == (
        "Cork cube watched by nobody Nobody has answered for it since keeper-1 started at 03:12: "
        "keeper-2 does not answer. Nothing is known of it here."
    )
    assert (
        "keeper-2 has not answered since keeper-1 started at 03:12: its answer is no JSON" in text
    )


def test_a_peer_that_ails_is_told_above_all(show: Show, peer: Answering) -> None:
    """It answers, but has no broker: its enclosures look well for a while, and are not watched."""
    ailing = told("keeper-2", "cork-cube", troubles=[{"part": "broker", "says": "refused"}])
    peer.answer = lambda request: request.give(ailing.model_dump_json().encode())
    show.parts.peers.ask()
    text = page(show)

    trouble = "keeper-2: No connection to the broker, so nothing new can come in: refused."
    assert text.index(trouble) < text.index("<article")


def test_what_our_set_up_lacks_is_shown_without_a_verdict(show: Show, peer: Answering) -> None:
    """Its range is not known here."""
    peer.answer = lambda request: request.give(words("cork-cube", "fern-valley"))
    show.parts.peers.ask()
    said = article(page(show), "fern-valley")

    assert "FERN-VALLEY watched by keeper-2 No alarm" in said
    assert "The set-up of keeper-1 does not have it" in said
    assert "in range" not in said.replace("Whether it is in range", "")


def test_two_owners_are_told(show: Show, peer: Answering) -> None:
    """With both names, before what calls."""
    peer.answer = lambda request: request.give(words("cork-cube", "amber-jar"))
    show.parts.peers.ask()
    said = article(page(show), "amber-jar")

    assert "watched by keeper-1 (here) and keeper-2 Claimed by several daemons" in said
    assert "Every enclosure has one owner: compare [share] in their settings." in said


def test_a_peers_words_stay_text(show: Show, peer: Answering) -> None:
    """Nothing that another machine sends is markup, nor an address to go to."""
    evil = "<script>alert(1)</script>"
    odd = alarm("cork-cube", says=evil, cause=evil, acknowledged_by=evil, state="acknowledged")
    odd["acknowledged_at"] = "2026-11-25T03:00:00Z"
    peer.answer = lambda request: request.give(
        words(place("cork-cube", odd), place("zz", name=evil))
    )
    show.parts.peers.ask()
    text = page(show)

    assert "<script>alert" not in text
    assert text.count("&lt;script&gt;alert(1)") >= 4


def test_what_a_peer_tells_is_shown_in_the_viewers_units(show: Show, peer: Answering) -> None:
    """In °F where that is wanted, sentences too."""
    probe = {"probe": "canopy", "zone": "canopy", "silent_after_s": 300}
    warm = place("cork-cube", probes=[probe | {"values": [value("temperature", 20.0)]}])
    peer.answer = lambda request: request.give(words(warm))
    show.parts.peers.ask()
    show.cookies.set("dewkeep_view", "F.kPa.auto")

    assert "68.0 °F" in article(page(show), "cork-cube")


def test_the_way_there_is_shown_where_there_are_peers(show: Show) -> None:
    """On every page."""
    assert '<a href="/house">House</a>' in show.page()


def test_one_alone_shows_no_way_there(make_show: MakeShow) -> None:
    """It has no house to show, though the address answers."""
    alone = make_show({"enclosure": [enclosure()]})
    assert 'href="/house"' not in alone.page()
    assert "1 enclosure: none needs a hand." in page(alone)


def test_the_room_page_tells_of_its_own_only(show: Show) -> None:
    """It says nothing good of what it does not watch, and leads to where that is told."""
    text = show.page()

    assert "<h1>1 enclosure: none needs a hand.</h1>" in text
    assert "Cork cube" not in text
    assert "Here is what keeper-1 watches: amber-jar, back." in text
    assert '<a href="/house">see the whole house</a>' in text


def test_it_asks_for_a_token_like_every_page(make_show: MakeShow) -> None:
    """A stranger learns nothing of the house."""
    answer = make_show({"enclosure": [enclosure()]}, needs_token=True).get("/house")

    assert answer.status_code == 401
    assert "Cork cube" not in answer.text


instants = st.integers(0, 221_845_391_999_999)
numbers = st.floats(allow_nan=False, allow_infinity=False)
sentences = st.text(max_size=30)
told_values = st.builds(
    ValueTold,
    quantity=st.sampled_from([*MEASURED]),
    value=numbers,
    unit=sentences,
    at=instants,
)
told_probes = st.builds(
    ProbeTold,
    probe=st.sampled_from(["canopy", "air", "other"]),
    silent_after_s=st.floats(0.1, 1e12),
    values=st.lists(told_values, max_size=3).map(tuple),
)
told_alarms = st.builds(
    AlarmTold,
    id=sentences,
    probe=st.none() | st.just("canopy"),
    since=instants,
    raised_at=instants,
    returned_at=st.none() | instants,
    withdrawn_at=st.none() | instants,
    acknowledged_at=st.none() | instants,
    acknowledged_by=st.none() | sentences,
    shelved_until=st.none() | instants,
    value=st.none() | numbers,
    limit=st.none() | numbers,
    says=sentences,
    cause=st.none() | sentences,
)
told_places = st.builds(
    PlaceTold,
    id=st.sampled_from(["cork-cube", "back", "strange"]),
    name=st.just("A name"),
    timezone=st.sampled_from(["UTC", "Pacific/Kiritimati", "Pacific/Pago_Pago"]),
    alarms=st.lists(told_alarms, max_size=3).map(tuple),
    probes=st.lists(told_probes, max_size=3).map(tuple),
)


@given(
    places=st.lists(told_places, max_size=4).map(tuple),
    at=instants,
    answers=st.booleans(),
    fahrenheit=st.booleans(),
)
def test_whatever_a_peer_tells_can_be_shown(
    places: tuple[PlaceTold, ...], at: int, answers: bool, fahrenheit: bool
) -> None:
    """An answer that was understood never breaks the page, however odd it is."""
    words = told("keeper-2").model_copy(update={"places": places, "at": at})
    assert Told.model_validate_json(words.model_dump_json()) == words
    placed = Setup.model_validate(FURNITURE)
    peer = Asked("keeper-2", "http://192.0.2.2", answers, words, at, "HTTP 500")
    seen = whole(told("keeper-1", "amber-jar"), [peer], placed, 0, NIGHT_MS)
    units = Units(Temperature.FAHRENHEIT if fahrenheit else Temperature.CELSIUS)
    known = Known(NIGHT_MS, placed, LIBRARY, latest={}, alarms=(), units=units)
    view = house_view(seen, placed, known)

    assert {"amber-jar", "cork-cube", "back"} <= {each.id for each in view.places}
    assert len(view.places) == len(seen.places)
