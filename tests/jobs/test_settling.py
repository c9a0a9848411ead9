"""Has it settled, from the store to the API and the command line."""

import datetime as dt
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import main
from monitor.errors import NotFound
from monitor.jobs.settling import wire
from monitor.quantities import Quantity
from monitor.setup.journal import ENTRY, Source
from monitor.species.settling import SettlingLimits
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import journal, setup, tokens
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

        assert now == wire(built.parts.assessor.assess("cork-cube", NOW_MS))
    assert set(now) >= {"enclosure", "at", "verdict", "criteria", "holds_it_up", "earliest"}
    assert {"name", "zone", "quantity", "value", "unit", "required", "result", "says"} <= set(
        now["criteria"][0]
    )
    coverage = next(c for c in now["criteria"] if c["name"] == "coverage")
    assert coverage["result"] in {"pass", "fail", "unknown"}
    assert then["verdict"] == "collecting"
    assert (wrong.status_code, room.status_code) == (422, 404)


def test_a_judgement_can_be_asked_for(tmp_path: Path) -> None:
    """POST judges now and remembers; GET alone remembers nothing; what is remembered is told."""
    url = "/api/v1/enclosures/cork-cube/settling"
    with house(tmp_path) as built:
        fill(built, 40)
        assert built.http.get(url).json()["remembered"] is None
        judged = built.http.post(url).json()
        built.now_ms += DAY_MS
        again = built.http.post(url).json()
        after = built.http.get(url).json()
        missing = built.http.post("/api/v1/enclosures/nowhere/settling")

    assert (judged["verdict"], judged["remembered"]) == ("collecting", None)
    assert again["remembered"] == {
        "verdict": "collecting", "since": "2026-11-25T09:46:40Z", "at": "2026-11-25T09:46:40Z"
    }  # fmt: skip
    assert after["remembered"]["at"] == "2026-11-26T09:46:40Z"
    assert missing.status_code == 404


def test_who_may_only_look_cannot_have_it_judged(tmp_path: Path) -> None:
    """A judgement may be told to everyone and end an alarm: that takes an operator."""
    with house(tmp_path, needs_token=True) as built:
        with built.database.transaction() as connection:
            token = tokens.create(connection, "guest", tokens.Scope.VIEW, NOW_MS)
        headers = {"Authorization": f"Bearer {token}"}
        url = "/api/v1/enclosures/cork-cube/settling"

        assert built.http.get(url, headers=headers).status_code == 200
        assert built.http.post(url, headers=headers).status_code == 403


def test_every_limit_says_where_it_comes_from(tmp_path: Path) -> None:
    """In the answer and in the text."""
    with house(tmp_path) as built:
        fill(built, 10)
        with built.database.transaction() as connection:
            place = setup.get(connection, "cork-cube").place
            own = place.model_copy(update={"settling": {"age_days": 42.0}})
            setup.put(connection, own, who="test", now_ms=NOW_MS)
        told = built.http.get("/api/v1/enclosures/cork-cube/settling").json()
    (tmp_path / "dewkeep.toml").write_text("[settling]\nlimits = { crew_days = 10 }\n")
    text = CliRunner().invoke(
        main,
        ["settling", "cork-cube", "--at", "2026-11-25T09:46:40Z"],
        env={"DEWKEEP_CONFIG": str(tmp_path / "dewkeep.toml")},
    )

    assert told["limits"].keys() == SettlingLimits.model_fields.keys()
    assert told["limits"]["age_days"] == {"value": 42, "from": "enclosure"}
    assert told["limits"]["coverage"] == {"value": 0.9, "from": "default"}
    age = next(each for each in told["criteria"] if each["name"] == "age")
    assert age["required"] == "at least 42 days"
    assert text.output.endswith(
        "limits: age_days 42 (enclosure), crew_days 10 (settings); all others default\n"
    )


def test_only_what_lives_there_must_be_seen(tmp_path: Path) -> None:
    """An enclosure without crew and plants is not held up by looks for them."""
    with house(tmp_path) as built:
        fill(built, 10)
        found = built.parts.assessor.assess("cork-cube", NOW_MS).settling
        with pytest.raises(NotFound, match="nowhere"):
            built.parts.assessor.assess("nowhere", NOW_MS)

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
