"""Journal entries, in the shape the API takes and gives."""

import re
from pathlib import Path
from typing import get_args

import pytest
from pydantic import ValidationError

from monitor.setup.journal import ENTRY, Entry, Fed, Inspection, Misted, Remark

AT = "2026-10-18T19:30:00Z"
AT_MS = 1_792_351_800_000  # `date -u -d 2026-10-18T19:30:00Z +%s`
KINDS = get_args(get_args(Entry)[0])
DOCS = Path(__file__).parents[2] / "docs" / "journal.md"


def test_an_inspection_is_read_from_and_written_as_the_api_shows_it() -> None:
    """What a client POSTs is what it later GETs, with times as text outside and integers inside."""
    text = {
        "at": AT,
        "kind": "inspection",
        "mould_cover": 2,
        "springtails_seen": True,
        "isopods_seen": False,
        "plants": "standing",
        "note": "white threads on the bark",
    }

    entry = ENTRY.validate_python(text)

    assert isinstance(entry, Inspection)
    assert (entry.at_ms, entry.mould_cover) == (AT_MS, 2)
    assert ENTRY.dump_python(entry, mode="json", by_alias=True) == text


def test_kind_chooses_the_model() -> None:
    """Each kind has its own fields, and takes no other's."""
    assert isinstance(ENTRY.validate_python({"at": AT, "kind": "fed"}), Fed)
    assert ENTRY.validate_python({"at": AT, "kind": "misted", "seconds": 20}) == Misted(
        at=AT_MS, kind="misted", seconds=20
    )
    with pytest.raises(ValidationError, match="seconds"):
        ENTRY.validate_python({"at": AT, "kind": "fed", "seconds": 20})


def test_a_misting_plan_is_read_from_and_written_as_the_api_shows_it() -> None:
    """Times of day stay as a keeper writes them."""
    text = {
        "at": AT,
        "kind": "misting_plan",
        "times": [{"at": "08:30", "seconds": 12.0}, {"at": "19:05", "seconds": 8.5}],
        "note": "",
    }

    assert ENTRY.dump_python(ENTRY.validate_python(text), mode="json", by_alias=True) == text


def test_a_note_is_trimmed() -> None:
    """Blanks around a note are not kept."""
    assert Remark(at=AT_MS, kind="note", note="  new substrate \n").note == "new substrate"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"kind": "watered"}, "'inspection', 'misted', 'fed', 'moult', 'maintenance'"),
        ({"kind": "inspection", "mould_cover": 6}, "less than or equal to 5"),
        ({"kind": "inspection", "mould_cover": 2.5}, "valid integer"),
        ({"kind": "inspection", "mould_cover": True}, "valid integer"),
        ({"kind": "inspection", "plants": "green"}, "'standing', 'wilting' or 'rooted'"),
        ({"kind": "inspection"}, "an empty inspection; give mould_cover"),
        ({"kind": "note", "note": "  "}, "an empty note"),
        ({"kind": "misted", "seconds": -1}, "greater than or equal to 0"),
        ({"kind": "misted", "seconds": float("nan")}, "finite"),
        ({"kind": "misting_plan"}, "Field required"),
        ({"kind": "misting_plan", "times": [{"at": "08:30", "seconds": 0}]}, "greater than 0"),
        ({"kind": "misting_plan", "times": [{"at": "08:30Z", "seconds": 9}]}, "an offset"),
        ({"kind": "fed", "at": "yesterday"}, "Invalid isoformat string: 'yesterday'"),
        ({"kind": "fed", "at": "2026-10-18T19:30:00"}, "has no offset"),
        ({"kind": "fed", "at": AT_MS // 1000}, "greater than or equal to 946684800000"),
        ({"kind": "fed", "at": True}, "valid integer"),
    ],
)
def test_what_makes_no_sense_is_refused(change: dict[str, object], says: str) -> None:
    """An entry that could not be read later is refused with what would be right."""
    with pytest.raises(ValidationError, match=re.escape(says)):
        ENTRY.validate_python({"at": AT} | change)


@pytest.mark.parametrize("model", KINDS, ids=lambda model: model.__name__)
def test_the_documentation_names_every_kind_and_field(model: type[Inspection]) -> None:
    """docs/journal.md has a heading for each kind and a line for each of its own fields."""
    (kind,) = get_args(model.model_fields["kind"].annotation)
    section = re.search(rf"^## `{kind}`\n(.*?)(?=^## |\Z)", DOCS.read_text(), re.M | re.S)

    assert section, f"docs/journal.md has no heading for `{kind}`"
    for field in model.model_fields.keys() - {"at_ms", "kind", "note"}:
        assert f"`{field}`" in section[1]
