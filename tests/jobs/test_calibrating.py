"""A calibration from the salt box to the set-up, over the API and the command line."""

import json
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest
from click.testing import CliRunner, Result

from monitor.cli import main
from monitor.jobs.calibrating import Calibrating
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.calibration import CalibrationSettings, Salt
from monitor.setup.models import Correction, Enclosure
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339
from tests.support.daemon import CORK_CUBE
from tests.support.house import House
from tests.support.house import house as open_house
from tests.support.salt_box import stand_in_box
from tests.support.waiting import eventually

RUNS = "/api/v1/enclosures/cork-cube/probes/canopy/calibrations"
BOTH = {"salts": ["magnesium_chloride", "sodium_chloride"]}
NACL = {"salts": ["sodium_chloride"]}
KEY = SeriesKey("cork-cube", "canopy", Quantity.HUMIDITY)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house with one enclosure."""
    with open_house(tmp_path) as built:
        yield built


@pytest.fixture
def http(house: House) -> httpx.Client:
    """Its API."""
    return house.http


def wait_in_box(house: House, hours: float, raw: float, **options: Any) -> None:
    """Let hours pass with the probe in the box."""
    stand_in_box(house.readings, house.now_ms, hours, raw, **options)
    house.now_ms += round(HOUR_MS * hours)


def correct(house: House, correction: Correction) -> None:
    """Put a correction of the canopy's humidity in force."""
    url = "/api/v1/enclosures/cork-cube"
    enclosure = house.http.get(url).json()
    enclosure["probe"][0]["calibration"] = {"humidity": correction.model_dump()}
    assert house.http.put(url, json=enclosure).status_code == 200


def in_force(house: House) -> Correction:
    """The correction of the canopy's humidity."""
    with house.database.reading() as connection:
        place = setup.get(connection, "cork-cube").place
    assert isinstance(place, Enclosure)
    return place.probe[0].calibration.get(Quantity.HUMIDITY, Correction())


def test_two_salts_from_box_to_set_up(house: House, http: httpx.Client) -> None:
    """The hand-worked example by HTTP: 35.2 and 73.9 read at 20 Cel become gain and offset."""
    started = http.post(RUNS, json=BOTH)
    run = f"{RUNS}/{started.json()['id']}"
    assert started.status_code == 201
    assert started.json()["says"].startswith("Nothing has been heard")

    wait_in_box(house, 5, 35.2)
    early = http.get(run).json()
    assert early["says"] == "In the box for 5 h; salt and air need 12 h at least, 7 h more."
    assert early["now"]["at_rest"] is False
    assert early["now"]["reference"]["humidity"] == pytest.approx(33.07, abs=0.02)
    refused = http.post(f"{run}/next")
    assert (refused.status_code, refused.json()["detail"]) == (409, early["says"])

    wait_in_box(house, 9, 35.2)
    assert http.get(run).json()["says"] == (
        "At rest at 35.20 %RH and 20.0 °C. Now go on with sodium chloride."
    )
    assert http.post(f"{run}/next").json()["steps"][0]["reading"] == pytest.approx(35.2, abs=0.02)
    assert http.post(f"{run}/finish").status_code == 409
    wait_in_box(house, 13, 73.9)
    assert http.post(f"{run}/next").status_code == 409
    finished = http.post(f"{run}/finish").json()

    certificate = finished["certificate"]
    assert certificate["gain"] == pytest.approx(1.0956, abs=0.001)
    assert certificate["offset"] == pytest.approx(-5.495, abs=0.03)
    assert 0.01 < certificate["gain_uncertainty"] < 0.03
    assert certificate["usable"] is True
    assert parse_rfc3339(certificate["due_at"]) - house.now_ms == 365 * DAY_MS
    assert finished["says"] == certificate["says"]
    assert in_force(house) == Correction()

    applied = http.post(f"{run}/apply")
    assert applied.status_code == 200
    assert in_force(house) == Correction(gain=certificate["gain"], offset=certificate["offset"])
    house.now_ms += MINUTE_MS
    house.take("canopy", house.now_ms, 20.0, 60.0)
    newest = house.readings.latest()[house.readings.known_series()[KEY]]
    assert newest.value == pytest.approx(60.241, abs=0.05)
    assert http.post(f"{run}/apply").status_code == 409
    assert http.get(RUNS).json()[0]["applied_at"] is not None
    assert papers(http)["state"] == "valid"
    correct(house, Correction(offset=1.0))
    assert papers(http)["state"] == "none", "somebody corrected it by hand since"


def papers(http: httpx.Client) -> dict[str, Any]:
    """The state of the canopy's calibration."""
    url = "/api/v1/enclosures/cork-cube/probes/trust"
    found: dict[str, Any] = http.get(url, params={"fresh": True}).json()["probes"][0]["calibration"]
    return found


def test_applying_goes_on_after_a_crash(house: House, http: httpx.Client) -> None:
    """A correction that got into the set-up, but not into the papers, is noted the second time."""
    run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
    wait_in_box(house, 14, 73.9)
    certificate = http.post(f"{run}/finish").json()["certificate"]
    correct(house, Correction(gain=certificate["gain"], offset=certificate["offset"]))

    assert http.post(f"{run}/apply").status_code == 200
    assert papers(http)["state"] == "valid"


def test_a_correction_in_force_is_undone(house: House, http: httpx.Client) -> None:
    """What is stored is corrected; the certificate is of the raw readings, and drift is told."""
    wrong = Correction(gain=1.1, offset=-6.0)
    correct(house, wrong)
    run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
    wait_in_box(house, 14, 73.9, correction=wrong)

    certificate = http.post(f"{run}/finish").json()["certificate"]

    assert certificate["offset"] == pytest.approx(75.48 - 73.9, abs=0.03)
    assert certificate["before"] == {"gain": 1.1, "offset": -6.0}
    assert certificate["drift"] is None
    assert "One salt tells nothing of the gain" in certificate["says"]


def test_drift_since_the_last_certificate(house: House, http: httpx.Client) -> None:
    """A probe that reads 3 %RH more than when it was calibrated has drifted by 3."""
    for raw in (73.9, 76.9):
        run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
        wait_in_box(house, 14, raw, correction=in_force(house))
        certificate = http.post(f"{run}/finish").json()["certificate"]
        assert http.post(f"{run}/apply").status_code == 200
        house.now_ms += 200 * DAY_MS

    assert certificate["drift"]["drift"] == pytest.approx(3.0, abs=0.05)
    assert certificate["drift"]["clear"] is True
    assert 0.5 < certificate["drift"]["uncertainty"] < 2
    assert "it has drifted by +3.0" in certificate["says"]


def test_a_correction_changed_meanwhile_spoils_the_run(house: House, http: httpx.Client) -> None:
    """Readings before and after cannot be put together; it is told at once, not at the end."""
    run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
    wait_in_box(house, 14, 73.9)
    correct(house, Correction(offset=1.0))

    assert "was changed since the run began" in http.get(run).json()["says"]
    assert http.post(f"{run}/finish").status_code == 409
    assert http.delete(run).status_code == 204
    assert http.get(run).json()["state"] == "abandoned"
    assert http.delete(run).status_code == 409
    assert http.post(f"{run}/apply").status_code == 409


def test_a_broken_probe_is_told_and_not_corrected(house: House, http: httpx.Client) -> None:
    """A gain no probe in order needs."""
    run = f"{RUNS}/{http.post(RUNS, json=BOTH).json()['id']}"
    wait_in_box(house, 14, 50.0)
    http.post(f"{run}/next")
    wait_in_box(house, 14, 70.0)

    finished = http.post(f"{run}/finish").json()

    assert finished["certificate"]["usable"] is False
    assert "a gain of 2.120 lies outside 0.8 to 1.25" in finished["says"]
    refused = http.post(f"{run}/apply")
    assert refused.status_code == 409
    assert "must not be applied" in refused.json()["detail"]


def test_a_reading_cut_off_at_the_end_of_the_scale(house: House, http: httpx.Client) -> None:
    """A probe that reads 102 above potassium sulfate stands at 100 in the store."""
    run = f"{RUNS}/{http.post(RUNS, json={'salts': ['potassium_sulfate']}).json()['id']}"
    wait_in_box(house, 14, 102.0)

    assert "the end of its scale" in http.get(run).json()["says"]


def test_a_box_too_cold(house: House, http: httpx.Client) -> None:
    """No fixed point, no calibration."""
    run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
    wait_in_box(house, 14, 75.0, temperature=11.0)

    assert "11.0 Cel: fixed points are known from 15 to 30" in http.get(run).json()["says"]
    assert http.post(f"{run}/finish").status_code == 409


@pytest.mark.parametrize(
    ("url", "body", "status"),
    [
        (RUNS, {"salts": []}, 422),
        (RUNS, {"salts": ["sugar"]}, 422),
        (RUNS, {"salts": ["sodium_chloride", "sodium_chloride"]}, 409),
        (RUNS.replace("canopy", "attic"), NACL, 404),
        (RUNS.replace("cork-cube", "nowhere"), NACL, 404),
    ],
)
def test_a_run_that_cannot_begin(
    http: httpx.Client, url: str, body: dict[str, Any], status: int
) -> None:
    """What is wrong is told, nothing is begun."""
    assert http.post(url, json=body).status_code == status
    assert http.get(RUNS).json() == []


def test_one_box_at_a_time_and_rooms_too(http: httpx.Client) -> None:
    """A probe in a box cannot go into another; a room's probe is calibrated in the same way."""
    assert http.post(RUNS, json=NACL).status_code == 201
    again = http.post(RUNS, json=NACL)
    room = http.post("/api/v1/rooms/back-room/probes/air/calibrations", json=NACL)

    assert again.status_code == 409
    assert "run 1" in again.json()["detail"]
    assert room.status_code == 201
    assert http.get(f"{RUNS}/{room.json()['id']}").status_code == 404
    assert http.get(f"{RUNS}/99").status_code == 404
    assert http.get(f"{RUNS}/{10**30}").status_code == 422
    assert http.get(RUNS, params={"before": 10**30}).status_code == 422


def test_a_probe_in_the_box_is_out_of_service(house: House, http: httpx.Client) -> None:
    """No alarm of it counts meanwhile, not even a critical one; after the run it is watched."""
    house.crash()
    run = f"{RUNS}/{http.post(RUNS, json={'salts': ['lithium_chloride']}).json()['id']}"
    eventually(lambda: calling(http) == set(), "what stood is out of service")
    for _minute in range(40):
        house.now_ms += MINUTE_MS
        house.take("canopy", house.now_ms, 23.0, 11.3)
    assert calling(http) == set()
    track = house.readings.track(KEY, house.now_ms - 30 * MINUTE_MS, house.now_ms + 1)
    assert set(track.reason.tolist()) == {Reason.AWAY}

    http.delete(run)
    eventually(lambda: house.pipeline._boxed == set(), "the run's end is noticed")
    for _minute in range(40):
        house.now_ms += MINUTE_MS
        house.take("canopy", house.now_ms, 23.0, 11.3)
    assert "critical-low" in calling(http)


def test_a_keeper_who_acts_meanwhile_is_heeded(house: House, http: httpx.Client) -> None:
    """A probe taken out by hand stays out after the run; one placed back by hand stays in."""
    service = "/api/v1/enclosures/cork-cube/probes/canopy"
    assert http.post(f"{service}/out-of-service", json={}).status_code < 300
    run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
    eventually(lambda: house.pipeline._boxed != set(), "the box is noticed")
    http.delete(run)
    eventually(lambda: house.pipeline._boxed == set(), "its end is noticed")
    assert http.post(f"{service}/in-service").status_code < 300

    http.post(RUNS, json=NACL)
    eventually(lambda: house.pipeline._boxed != set(), "the next box is noticed")
    assert http.post(f"{service}/in-service").status_code < 300
    house.loop.ask(lambda pipeline, now_ms: pipeline.tick(now_ms, broker_connected=True)).result(10)
    assert http.post(f"{service}/in-service").status_code == 409


def test_a_forgotten_box_leaves_nobody_unwatched(
    house: House, http: httpx.Client, caplog: pytest.LogCaptureFixture
) -> None:
    """After four days with one salt the run is abandoned, and the log says what to do."""
    run = f"{RUNS}/{http.post(RUNS, json=NACL).json()['id']}"
    calibrating = Calibrating(house.database, house.readings, CalibrationSettings())
    calibrating.abandon_forgotten(house.now_ms + 96 * HOUR_MS)
    before = http.get(run).json()["state"]
    calibrating.abandon_forgotten(house.now_ms + 97 * HOUR_MS)

    assert (before, http.get(run).json()["state"]) == ("running", "abandoned")
    assert "put the probe back in its place" in caplog.text


def calling(http: httpx.Client) -> set[str]:
    """The conditions of the canopy's climate that call for somebody."""
    return {
        alarm["condition"]
        for alarm in http.get("/api/v1/alarms").json()
        if alarm["state"] == "unacknowledged" and alarm["probe"] == "canopy"
    }


def test_the_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Start, watch, finish, list and apply in plain words; mistakes with exit code 2."""
    (tmp_path / "dewkeep.toml").write_text('[setup]\nfile = "enclosures.toml"\n')
    (tmp_path / "enclosures.toml").write_text(CORK_CUBE)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DEWKEEP_CONFIG", raising=False)
    probe = "cork-cube/canopy"

    def run(*words: str) -> Result:
        return CliRunner().invoke(main, ["calibrate", *words], catch_exceptions=False)

    CliRunner().invoke(main, ["setup", "apply", "enclosures.toml"])
    assert run("list", probe).output == "never calibrated\n"
    assert "has no certificate" in run("apply", probe).output
    assert "is not being calibrated" in run("watch", probe).output
    started = run("start", probe, "potassium_chloride").output
    assert started.startswith("potassium chloride: Nothing has been heard")
    assert run("start", probe, "sodium_chloride").exit_code == 2
    assert run("finish", probe).exit_code == 2
    assert run("abandon", probe).output == "abandoned\n"
    with closing(Database(tmp_path / "dewkeep.db")) as database:
        readings = SqliteReadings(database)
        since_ms = time.time_ns() // 1_000_000 - 14 * HOUR_MS
        calibrating = Calibrating(database, readings, CalibrationSettings())
        calibrating.start("cork-cube", "canopy", (Salt.SODIUM_CHLORIDE,), "test", since_ms)
        stand_in_box(readings, since_ms, 14, 73.9)

    watched = run("watch", probe)
    as_json = json.loads(run("watch", probe, "--json").output)
    finished = run("finish", probe)
    applied = run("apply", probe)
    listed = run("list", probe)

    assert watched.output.startswith("sodium chloride 73.")
    assert "Now finish the run." in watched.output
    assert as_json["now"]["at_rest"] is True
    assert finished.output.startswith("run 2, ")
    assert "sodium chloride: 75.4" in finished.output
    assert "in force: calibration = { humidity = { offset = 1.5" in applied.output
    assert "it stays so over a restart; write it under the probe in" in applied.output
    assert "applied, due again" in listed.output
    assert "run 1, " in listed.output
    assert run("apply", probe).exit_code == 2
    assert run("watch", "canopy").exit_code == 2
    again = CliRunner().invoke(main, ["setup", "apply", "enclosures.toml"]).output
    assert again.startswith("nothing to change\ncork-cube/canopy: calibration 2 stays in force;")
