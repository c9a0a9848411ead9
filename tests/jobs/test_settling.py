"""Has it settled, from the store to the API and the command line."""

import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import main
from monitor.errors import NotFound
from monitor.jobs.settling import settling_of, wire
from monitor.quantities import Quantity
from monitor.setup.journal import ENTRY, Source
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import journal
from tests.support.house import NOW_MS, House, house

DAY_MS = 86_400_000


def fill(built: House, days: int) -> None:
    """An even climate up to now, and a look that found no mould, each fifth day."""
    at_ms = list(range(NOW_MS - days * DAY_MS, NOW_MS, 600_000))
    for quantity, value in ((Quantity.TEMPERATURE, 23.0), (Quantity.HUMIDITY, 75.0)):
        noise = [value + 0.1 * (n * 7 % 5 - 2) for n in range(len(at_ms))]
        built.backfill(SeriesKey("cork-cube", "canopy", quantity), at_ms, noise)
    with built.database.transaction() as connection:
        for day in range(days, 0, -5):
            entry = ENTRY.validate_python(
                {"kind": "inspection", "at": NOW_MS - day * DAY_MS, "mould_cover": 0}
            )
            journal.add(connection, "cork-cube", entry, Source.KEEPER, NOW_MS)


def test_the_contract_is_kept(tmp_path: Path) -> None:
    """GET gives verdict and criteria as agreed; as of an earlier time, less is known."""
    with house(tmp_path) as built:
        fill(built, 40)
        url = "/api/v1/enclosures/cork-cube/settling"
        now = built.http.get(url).json()
        then = built.http.get(url, params={"at": "2026-10-17T12:00:00Z"}).json()
        wrong = built.http.get(url, params={"at": "soon"})
        room = built.http.get("/api/v1/enclosures/back-room/settling")

        assert now == wire(
            "cork-cube",
            settling_of(built.database, built.readings, built.parts.library, "cork-cube", NOW_MS),
        )
    assert set(now) >= {"enclosure", "at", "verdict", "criteria", "holds_it_up", "earliest"}
    assert {"name", "zone", "quantity", "value", "unit", "required", "result", "says"} <= set(
        now["criteria"][0]
    )
    coverage = next(c for c in now["criteria"] if c["name"] == "coverage")
    assert coverage["result"] in {"pass", "fail", "unknown"}
    assert then["verdict"] == "collecting"
    assert (wrong.status_code, room.status_code) == (422, 404)


def test_only_what_lives_there_must_be_seen(tmp_path: Path) -> None:
    """An enclosure without crew and plants is not held up by looks for them."""
    with house(tmp_path) as built:
        fill(built, 10)
        found = settling_of(
            built.database, built.readings, built.parts.library, "cork-cube", NOW_MS
        )
        with pytest.raises(NotFound, match="nowhere"):
            settling_of(built.database, built.readings, built.parts.library, "nowhere", NOW_MS)

    assert {each.name.value for each in found.criteria}.isdisjoint(
        {"springtails", "isopods", "plants"}
    )
    assert found.verdict.value != "settled"
    assert found.earliest is None or found.earliest > dt.date(2026, 11, 25)


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readable by default, the API's answer with --json, exit code 2 for an unknown enclosure."""
    with house(tmp_path) as built:
        fill(built, 10)
    (tmp_path / "dewkeep.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    at = ["--at", "2026-11-25T09:46:40Z"]
    runner = CliRunner()

    text = runner.invoke(main, ["settling", "cork-cube", *at])
    document = runner.invoke(main, ["settling", "cork-cube", *at, "--json"])
    unknown = runner.invoke(main, ["settling", "nowhere", *at])

    answer = json.loads(document.output)
    assert text.output.startswith(f"cork-cube: {answer['verdict']}\n")
    assert all(criterion["says"] in text.output for criterion in answer["criteria"])
    assert unknown.exit_code == 2
    assert "'nowhere'" in unknown.output
