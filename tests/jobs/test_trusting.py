"""Advice about probes, from the store to the API and the command line."""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from monitor.cli import main
from monitor.jobs.trusting import Trusting
from monitor.quantities import Quantity
from monitor.setup.calibration import Salt
from monitor.setup.models import Enclosure
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, HOUR_MS
from tests.support.house import House
from tests.support.house import house as open_house

TRUST = "/api/v1/enclosures/cork-cube/probes/trust"
EVERY_MS = 600_000


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house whose enclosure has two probes in its canopy."""
    with open_house(tmp_path) as built:
        with built.database.transaction() as connection:
            cube = setup.get(connection, "cork-cube").place
            assert isinstance(cube, Enclosure)
            both = tuple(
                each.model_copy(update={"zone": cube.probe[0].zone}) for each in cube.probe
            )
            cube = cube.model_copy(update={"probe": both})
            setup.put(connection, cube, who="test", now_ms=built.now_ms)
        yield built


def live(readings: SqliteReadings, probe: str, humidity: float, until_ms: int, days: float) -> None:
    """A reading every ten minutes, steady but for noise."""
    at_ms = np.arange(until_ms - round(days * DAY_MS), until_ms, EVERY_MS, dtype=np.int64)
    noise = np.random.default_rng(4).standard_normal(len(at_ms))
    for quantity, value in (
        (Quantity.HUMIDITY, humidity + 0.3 * noise),
        (Quantity.TEMPERATURE, 23.0 + 0.1 * noise),
    ):
        (series,) = readings.series_ids([SeriesKey("cork-cube", probe, quantity)])
        count = len(at_ms)
        readings.backfill(Readings(np.full(count, series), at_ms, value, np.zeros(count, np.uint8)))


def test_an_advice_stands_until_it_is_heeded(house: House) -> None:
    """It keeps the time it was first given, is told again within the hour, and goes by itself."""
    live(house.readings, "canopy", 80.0, house.now_ms, 8)
    live(house.readings, "floor", 68.0, house.now_ms, 8)

    first = house.http.get(TRUST).json()
    house.now_ms += HOUR_MS // 2
    again = house.http.get(TRUST).json()
    house.now_ms += DAY_MS
    later = house.http.get(TRUST, params={"fresh": True}).json()
    house.now_ms += 8 * DAY_MS
    live(house.readings, "canopy", 80.0, house.now_ms, 7)
    live(house.readings, "floor", 79.5, house.now_ms, 7)
    heeded = house.http.get(TRUST).json()

    (advice,) = first["probes"][0]["advice"]
    assert (advice["check"], advice["confidence"]) == ("disagrees", "possible")
    assert advice["since"] == first["at"]
    assert advice["figures"]["above_pct"] == pytest.approx(12, abs=1)
    assert first["probes"][0]["calibration"]["state"] == "none"
    assert again == first
    assert later["at"] != first["at"]
    assert later["probes"][0]["advice"][0]["since"] == first["at"]
    assert [probe["advice"] for probe in heeded["probes"]] == [[], []]


def test_all_places_at_once(house: House) -> None:
    """Rooms and enclosures; what is not set up is told."""
    everything = house.http.get("/api/v1/probes/trust").json()

    assert {each["place"] for each in everything} == {"cork-cube", "back-room"}
    assert house.http.get("/api/v1/rooms/back-room/probes/trust").json() in everything
    house.now_ms += 12 * HOUR_MS
    assert house.http.get("/api/v1/probes/trust").json() == everything
    later = house.http.get("/api/v1/probes/trust", params={"fresh": True}).json()
    assert {each["at"] for each in later} != {each["at"] for each in everything}
    assert house.http.get(TRUST.replace("cork-cube", "nowhere")).status_code == 404


def test_what_a_probe_reads_in_a_salt_box_is_not_held_against_it(house: House) -> None:
    """For a week it stood in 33 %RH beside a neighbour in 80; its alarms and advice are quiet."""
    live(house.readings, "canopy", 33.0, house.now_ms, 7)
    live(house.readings, "floor", 80.0, house.now_ms, 7)
    trusting = Trusting(house.database, house.readings)
    before = trusting.of("cork-cube", house.now_ms)
    from_api = house.http.post(
        "/api/v1/enclosures/cork-cube/probes/canopy/calibrations",
        json={"salts": [Salt.MAGNESIUM_CHLORIDE]},
    )
    with house.database.transaction() as connection:
        connection.execute(
            "UPDATE calibration SET started_ms = ?", (house.now_ms - 7 * DAY_MS - 1,)
        )

    after = trusting.of("cork-cube", house.now_ms, fresh=True)

    assert from_api.status_code == 201
    assert [len(each["advice"]) for each in before["probes"]] == [1, 1]
    assert [len(each["advice"]) for each in after["probes"]] == [0, 0]


def test_the_daily_look_tells_the_log_once(house: House, caplog: pytest.LogCaptureFixture) -> None:
    """New advice is a line; what stands already is none."""
    caplog.set_level("INFO")
    live(house.readings, "canopy", 80.0, house.now_ms, 8)
    live(house.readings, "floor", 68.0, house.now_ms, 8)
    trusting = Trusting(house.database, house.readings)

    trusting.look_at_all(house.now_ms)
    told = [line for line in caplog.messages if line.startswith("probe cork-cube/")]
    trusting.look_at_all(house.now_ms + DAY_MS)

    assert len(told) == 2
    assert "%RH more than floor" in told[0]
    assert [line for line in caplog.messages if line.startswith("probe cork-cube/")] == told


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All probes or those of one place, as text or as the API gives it."""
    with open_house(tmp_path):
        pass
    (tmp_path / "dewkeep.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()

    text = runner.invoke(main, ["probes"])
    document = json.loads(runner.invoke(main, ["probes", "cork-cube", "--json"]).output)
    unknown = runner.invoke(main, ["probes", "nowhere"])

    assert "cork-cube/canopy: ±4.0 %RH, no certificate" in text.output
    assert "back-room/air: ±4.0 %RH, no certificate" in text.output
    assert [probe["probe"] for probe in document["probes"]] == ["canopy", "floor"]
    assert unknown.exit_code == 2


def test_a_battery_is_told_from_what_the_probe_reports(house: House) -> None:
    """The last charge counts, and no other probe's."""
    house.backfill(
        SeriesKey("cork-cube", "floor", Quantity.BATTERY),
        [house.now_ms - DAY_MS, house.now_ms - HOUR_MS],
        [60.0, 12.0],
    )

    probes = house.http.get(TRUST).json()["probes"]

    assert [[each["check"] for each in probe["advice"]] for probe in probes] == [[], ["battery"]]
    assert probes[1]["advice"][0]["figures"] == {"charge_pct": 12.0}
