"""The journal over HTTP: typed entries in, pages out."""

import httpx
import pytest

JOURNAL = "/api/v1/enclosures/cork-cube/journal"


def test_what_is_written_is_read(http: httpx.Client) -> None:
    """An inspection comes back as it was written, with who wrote it."""
    entry = {"kind": "inspection", "at": "2026-11-24T18:00:00Z", "mould_cover": 2}

    written = http.post(JOURNAL, json=entry)

    assert written.status_code == 201
    assert written.json() | entry == written.json()
    assert written.json()["source"] == "keeper"
    assert http.get(JOURNAL).json() == [written.json()]


@pytest.mark.parametrize(
    ("entry", "field"),
    [
        ({"kind": "inspection", "at": "2026-11-24T18:00:00Z", "mould_cover": 9}, "mould_cover"),
        ({"kind": "danced", "at": "2026-11-24T18:00:00Z"}, "kind"),
        ({"kind": "fed", "at": "tomorrow"}, "at"),
        ({"kind": "misted", "at": "2026-11-24T18:00:00Z", "seconds": -3}, "seconds"),
    ],
)
def test_a_wrong_entry_names_its_field(
    http: httpx.Client, entry: dict[str, object], field: str
) -> None:
    """Nothing half-right is kept."""
    answer = http.post(JOURNAL, json=entry)

    assert answer.status_code == 422
    assert field in answer.text
    assert http.get(JOURNAL).json() == []


def test_long_journals_come_in_pages(http: httpx.Client) -> None:
    """The Link header leads through all entries, each once, newest first (RFC 8288)."""
    for day in range(1, 8):
        http.post(JOURNAL, json={"kind": "fed", "at": f"2026-11-0{day}T08:00:00Z"})

    seen: list[str] = []
    answer = http.get(JOURNAL, params={"limit": 3})
    while True:
        seen += [entry["at"] for entry in answer.json()]
        if "next" not in answer.links:
            break
        answer = http.get(answer.links["next"]["url"])

    assert seen == [f"2026-11-0{day}T08:00:00Z" for day in range(7, 0, -1)]
    assert http.get(JOURNAL, params={"before": "nonsense"}).status_code == 422
