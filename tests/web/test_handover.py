"""The hand-over sheet: what stands on it, and what a printer gets."""

import re
from collections.abc import Mapping
from typing import Any

import pytest

from monitor.setup.journal import ENTRY, Source
from monitor.store.sqlite.state import journal
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import DAY_MS
from monitor.web.handover import sheet, standalone
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

SHEET = "/enclosures/cork-cube/handover"
GECKO = [
    {"species": "correlophus-ciliatus", "count": 2, "since": "2026-01-05"},
    {"species": "trichorhina-tomentosa"},
]
PLAN = {
    "kind": "misting_plan",
    "at": "2026-11-01T10:00:00Z",
    "times": [{"at": "08:30", "seconds": 12}, {"at": "19:05", "seconds": 8.5}],
}


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """A gecko's enclosure with a range of the keeper's own."""
    return make_show({"enclosure": [enclosure(inhabitant=GECKO)]})


def write(show: Show, *entries: Mapping[str, Any]) -> None:
    """Write into the journal."""
    with show.database.transaction() as connection:
        for entry in entries:
            read = ENTRY.validate_python(entry)
            journal.add(connection, "cork-cube", read, Source.KEEPER, NIGHT_MS)


def words(html: str) -> str:
    """What a reader sees, in one line."""
    body = re.sub(r"<(style|svg).*?</\1>", " ", html, flags=re.DOTALL)
    text = re.sub(r"<[^>]+>", " ", body).replace("&nbsp;", " ").replace("\N{NO-BREAK SPACE}", " ")
    return re.sub(r"\s+", " ", text)


def paper(show: Show, base: str | None = "http://shelf.example/") -> str:
    """The sheet as a file."""
    return standalone(sheet(show.database, show.parts.library, "cork-cube", NIGHT_MS, base))


def test_who_lives_there_and_what_it_needs(show: Show) -> None:
    """The animal first, with food, ground and moult; ranges as aim, what will do, and never."""
    text = words(show.get(SHEET).text)

    assert text.index("Crested gecko \N{MULTIPLICATION SIGN} 2") < text.index("Dwarf white isopod")
    assert "2 of them · since 5 Jan 2026 · arboreal" in text
    assert "look for bands left on toes" in text
    assert "22 to 26 °C (20 to 28)" in text
    assert "50 to 70 % (50 to 80) humidity" in text
    assert "colder than 10 °C or warmer than 30 °C" in text
    assert "drier than 35 %" in text
    assert "damper than 100" not in text
    assert "Crested gecko: the air must be below 70 % for 6 hours every day (from memory)." in text


def test_the_cautions_stand_on_it(show: Show) -> None:
    """Those of the species, those of dewkeep, and how far the numbers are known."""
    text = words(show.get(SHEET).text)

    assert "Crested gecko: A lost tail does not grow again." in text
    assert "dewkeep is not a safety device" in text
    assert "not veterinary advice" in text
    assert "Never let an automatic schedule replace looking at the animal." in text
    assert "Crested gecko (from memory)" in text


def test_the_journal_is_told_by_kind(show: Show) -> None:
    """Feeding, cleaning, moults and looks, with their dates on the enclosure's clock."""
    write(
        show,
        {"kind": "fed", "at": "2026-11-20T23:30:00Z", "note": "six crickets & fruit"},
        {"kind": "maintenance", "at": "2026-11-10T10:00:00Z"},
        {"kind": "moult", "at": "2026-11-02T10:00:00Z", "note": "in one night"},
        {
            "kind": "inspection",
            "at": "2026-11-12T10:00:00Z",
            "mould_cover": 1,
            "isopods_seen": False,
            "plants": "rooted",
        },
    )
    html = show.get(SHEET).text
    text = words(html)

    assert "six crickets &amp; fruit" in html
    assert "Fed 20 Nov 2026 six crickets" in text
    assert "Cleaned and mended 10 Nov 2026 done" in text
    assert "Moulted 2 Nov 2026 in one night" in text
    assert "12 Nov 2026 mould 1 of 5, isopods not seen, plants have rooted" in text


def test_a_plan_that_was_taken_is_on_it(show: Show) -> None:
    """The newest one, with times on the enclosure's clock."""
    write(show, PLAN | {"at": "2026-10-01T10:00:00Z", "times": []}, PLAN)

    assert "Plan taken on 1 Nov 2026; every day at: 08:30 for 12 s 19:05 for 8.5 s" in words(
        paper(show)
    )

    write(show, PLAN | {"at": "2026-11-20T10:00:00Z", "times": []})
    assert "Plan taken on 20 Nov 2026. No misting any more." in words(paper(show))


def test_without_a_plan_the_mistings_are_counted(show: Show) -> None:
    """Of two weeks, with the hours they fall in; none at all is said too."""
    assert "no misting noted in the last 14 days" in words(paper(show))

    for day in range(20):
        show.mist("cork-cube", NIGHT_MS - day * DAY_MS, 6.0)
    assert "misted 15 times, mostly in the hour after 03:00." in words(paper(show))


def test_what_does_not_belong_is_told(make_show: MakeShow) -> None:
    """Conflicts and risks stand on the sheet in words."""
    crowd = [{"species": "dendrobates-tinctorius"}, {"species": "haworthia"}]
    text = words(make_show({"enclosure": [enclosure(inhabitant=crowd)]}).get(SHEET).text)

    assert "Keep an eye on" in text
    assert "Haworthia needs 15 to 65 %, Dyeing dart frog 80 to 100 %, 15 % apart." in text


def test_the_code_leads_to_the_page_unless_that_is_out_of_reach(show: Show) -> None:
    """A loopback address is no use on a phone."""
    assert "http://shelf.example/#cork-cube" in paper(show)
    assert paper(show).count("<svg") == 1
    for base in (None, "http://127.0.0.1:8420", "http://localhost:8420/", "http://[::1]:8420"):
        assert "<svg" not in paper(show, base)
    assert "<svg" not in show.get(SHEET).text


def test_the_page_loads_its_style_from_here(show: Show) -> None:
    """Its policy allows no other, and a style inside would not be heeded."""
    answer = show.get(SHEET)
    (style,) = re.findall(r'<link rel="stylesheet" href="([^"]+)"', answer.text)

    assert "@page" in show.get(style).text
    assert "<style" not in answer.text
    assert "style=" not in answer.text
    assert "style-src 'self'" in answer.headers["content-security-policy"]


def test_the_file_needs_nothing_else(show: Show) -> None:
    """Style inside, nothing loaded from anywhere."""
    html = paper(show)

    assert "@page" in html
    assert re.findall(r"(?:src|href|url\()\s*=?[\"']?[^\s>]+", html) == []


def test_an_enclosure_without_anything_still_has_a_sheet(make_show: MakeShow) -> None:
    """It says what is missing."""
    text = words(make_show({"enclosure": [{"id": "cork-cube", "name": "<Cube>"}]}).get(SHEET).text)

    assert "&lt;Cube&gt;" in text
    assert "Nobody is named in the set-up yet." in text
    assert "No range is known" in text
    assert "Nothing was written down yet." in text


def test_only_enclosures_have_a_sheet_and_only_for_those_who_may_see(make_show: MakeShow) -> None:
    """A stranger's name is not found; without a token nothing is shown."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    key = show.token(Scope.VIEW)

    assert show.get(SHEET).status_code == 401
    assert show.get(SHEET, key).status_code == 200
    assert show.get("/enclosures/nowhere/handover", key).status_code == 404
