"""The journal's pages: one tap writes an entry, forms take the rest, mistakes are told in place."""

import re
from io import BytesIO

import pytest
from PIL import Image

from monitor.setup.journal import KINDS
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import HOUR_MS
from monitor.web import words
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

PAGE = "/enclosures/cork-cube/journal"
API = f"/api/v1{PAGE}"


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """Two enclosures; in Lisbon it is twelve past three, as in UTC."""
    return make_show(
        {"enclosure": [enclosure(), enclosure("amber-jar", "Amber jar", timezone="Asia/Kolkata")]}
    )


def text(page: str) -> str:
    """A page without its markup."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


@pytest.mark.parametrize("kind", words.QUICK)
def test_one_tap_writes_it_down_as_of_now(show: Show, kind: str) -> None:
    """The page that follows shows the entry, says that it is written, and stands at it."""
    answer = show.submit(show.get(PAGE).text, PAGE, [("kind", kind)])
    assert answer.status_code == 303
    (entry,) = show.get(API).json()
    assert (entry["kind"], entry["at"], entry["source"]) == (kind, "2026-11-25T03:12:00Z", "keeper")
    address, _, anchor = answer.headers["location"].partition("#")
    page = show.get(address).text
    assert f'<li id="{anchor}" class="new">' in page
    assert f"03:12 {words.KINDS[kind]} written down" in text(page)


def test_the_journal_of_all_writes_and_returns(show: Show) -> None:
    """One page to go round the shelf with: it comes back to itself, and names the enclosure."""
    page = show.get("/journal").text
    answer = show.submit(page, "/enclosures/amber-jar/journal", [("kind", "fed")])
    assert answer.headers["location"].startswith("/journal?wrote=")
    told = text(show.get(answer.headers["location"]).text)
    assert "Fed, Amber jar written down" in told
    assert "08:42" in told  # by the clock of Kolkata


def test_an_inspection_says_only_what_was_looked_at(show: Show) -> None:
    """Fields left at "not looked" are not said."""
    fields = [
        ("kind", "inspection"),
        ("mould_cover", "2"),
        ("springtails_seen", "yes"),
        ("isopods_seen", ""),
        ("plants", ""),
        ("note", "by the <cork>"),
        ("at", "2026-11-24T19:10"),
    ]
    assert show.submit(show.get(PAGE).text, PAGE, fields).status_code == 303
    (entry,) = show.get(API).json()
    del entry["id"], entry["photos"]
    assert entry == {
        "source": "keeper",
        "at": "2026-11-24T19:10:00Z",
        "kind": "inspection",
        "mould_cover": 2,
        "springtails_seen": True,
        "note": "by the <cork>",
    }
    assert "A little mould and springtails seen: by the &lt;cork&gt;" in text(show.get(PAGE).text)


def test_times_are_those_of_the_enclosures_clock(show: Show) -> None:
    """What is written at seven in the evening in Kolkata happened at half past one UTC."""
    fields = [("kind", "fed"), ("at", "2026-11-24T19:00")]
    page = show.get("/enclosures/amber-jar/journal").text
    assert "by the clock of Asia/Kolkata" in page
    show.submit(page, "/enclosures/amber-jar/journal", fields)
    (entry,) = show.get("/api/v1/enclosures/amber-jar/journal").json()
    assert entry["at"] == "2026-11-24T13:30:00Z"


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ([("kind", "misted"), ("seconds", "-4")], "seconds"),
        ([("kind", "misted"), ("seconds", "many")], "seconds"),
        ([("kind", "fed"), ("at", "yesterday")], "at"),
        ([("kind", "fed"), ("at", "1926-11-24T19:00")], "at"),
        ([("kind", "note"), ("note", "  ")], "note"),
        ([("kind", "inspection")], "note"),
        ([("kind", "inspection"), ("mould_cover", "9")], "mould_cover"),
        ([("kind", "danced")], "note"),
    ],
)
def test_a_mistake_is_told_beside_its_field(
    show: Show, fields: list[tuple[str, str]], name: str
) -> None:
    """Nothing is written, what was filled in stays, and the field says what would be right."""
    answer = show.submit(show.get(PAGE).text, PAGE, fields)
    assert answer.status_code == 422
    assert show.get(API).json() == []
    assert words.NOT_WRITTEN in answer.text
    assert words.WRONG_ENTRY[name].split(",")[0] in answer.text


def test_a_long_misted_week_stays_readable(show: Show) -> None:
    """What the mister did in a row is one line; an entry of the keeper parts it."""
    for hours in (1, 2, 3, 5, 6):
        show.mist("cork-cube", NIGHT_MS - hours * HOUR_MS // 3, 6.0)
    at = "2026-11-25T01:50"
    show.submit(show.get(PAGE).text, PAGE, [("kind", "fed"), ("at", at)])
    told = text(show.get(PAGE).text)
    assert "Misted 3 times, 18 s in all (by the mister)" in told
    assert "01:50 Fed" in told
    assert "Wednesday, 25 Nov 2026" in told
    assert "Misted 2 times, 12 s in all" in told


def test_photos_stand_with_their_entry(show: Show) -> None:
    """As small pictures that lead to the large ones, with words for those who do not see them."""
    show.submit(show.get(PAGE).text, PAGE, [("kind", "moult")])
    (entry,) = show.get(API).json()
    picture = BytesIO()
    Image.new("RGB", (640, 480), "olive").save(picture, "PNG")
    sent = show.send_bytes(f"{API}/{entry['id']}/photos", picture.getvalue(), "image/png")
    assert sent.status_code == 201, sent.text
    page = show.get(PAGE).text
    found = re.search(r'<a href="([^"]+)"><img src="([^"]+)" loading="lazy" alt="([^"]+)"', page)
    assert found
    assert found[3].startswith("Photo: Moulted, Wednesday")
    for address in (found[1], found[2]):
        assert show.get(address).headers["content-type"] == "image/jpeg"


def test_who_only_looks_sees_no_buttons(make_show: MakeShow) -> None:
    """A token of scope view reads the journal and cannot write."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    viewer = show.token(Scope.VIEW)
    for page in (PAGE, "/journal"):
        answer = show.get(page, viewer)
        assert answer.status_code == 200
        assert 'class="quick"' not in answer.text
        assert "Looked inside</summary>" not in answer.text


def test_an_empty_journal_says_what_it_is_good_for(make_show: MakeShow) -> None:
    """Without entries, and without enclosures, it says what to do next."""
    assert "stands beside the readings" in make_show({"enclosure": [enclosure()]}).get(PAGE).text


def test_every_kind_has_words() -> None:
    """A kind of entry cannot be added without saying what it is called."""
    assert set(words.KINDS) == set(KINDS)
