"""A calibration on the command line while the daemon runs: both share one database."""

import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from monitor.cli import main
from monitor.jobs.calibrating import Calibrating
from monitor.setup.calibration import CalibrationSettings, Salt
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import HOUR_MS
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

TOPIC = "dewkeep/cork-cube/canopy"
PROBE = "cork-cube/canopy"
RUNS = "/enclosures/cork-cube/probes/canopy/calibrations"
HOURS = 14
PHONE = """
[[channel]]
name = "phone"
kind = "webhook"
url = "http://127.0.0.1:9/hook"
allow_private = true
"""
NACL_RH = 75.48
"""%RH above sodium chloride at 20 Cel (Greenspan 1977)."""


def out_of_service(daemon: RunningDaemon) -> list[tuple[str, str]]:
    """Probes whose alarms do not count, and who said so."""
    return [(each["probe"], each["by"]) for each in daemon.get("/suppressions")]


def humidity(daemon: RunningDaemon) -> float:
    """The newest of the canopy, %RH."""
    value: float = daemon.get("/enclosures/cork-cube/climate")["probes"][0]["humidity"]["value"]
    return value


def test_from_the_box_to_a_corrected_reading(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """What the probe publishes in the box becomes a correction that the daemon takes over.

    Meanwhile the probe is out of service, across a power cut too. A start does not undo it, unless
    the set-up file says something new: then a notification says so.
    """
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=PHONE).start()

    def run(*words: str) -> str:
        result = CliRunner().invoke(
            main, ["calibrate", *words, PROBE, "--config", str(daemon.config)]
        )
        assert result.exit_code == 0, result.output
        return result.stdout

    try:
        start_ms = time.time_ns() // 1_000_000 - HOURS * HOUR_MS
        with closing(Database(tmp_path / "dewkeep.db")) as database:
            calibrating = Calibrating(database, SqliteReadings(database), CalibrationSettings())
            calibrating.start("cork-cube", "canopy", (Salt.SODIUM_CHLORIDE,), "test", start_ms)
        eventually(lambda: out_of_service(daemon) == [("canopy", "calibration")], "out of service")
        noise = 0.05 * np.random.default_rng(1).standard_normal(60 * HOURS)
        with Publisher(mosquitto.port) as probe:
            probe.send_all(
                (TOPIC, senml(start_ms / 1000 + 60 * (n + 1), 20.0, round(73.9 + each, 2)))
                for n, each in enumerate(noise.tolist())
            )
        eventually(lambda: "At rest at 73.9" in run("watch", "--once"), "all is kept")
        daemon.kill()
        daemon.start()
        assert out_of_service(daemon) == [("canopy", "calibration")]

        assert "Correct it by an offset of +1.5" in run("finish")
        eventually(lambda: out_of_service(daemon) == [], "back in service")
        (made,) = daemon.get(RUNS)
        applied = daemon.post(f"{RUNS}/{made['id']}/apply")
        assert "In force, also over a restart." in applied["says"]
        daemon.kill()
        daemon.start()
        assert "the file still says what it said before it" in daemon.log.read_text()

        with Publisher(mosquitto.port) as probe:

            def corrected() -> bool:
                probe.send(TOPIC, senml(time.time(), 20.0, 73.9))
                return abs(humidity(daemon) - NACL_RH) < 0.1

            eventually(corrected, "the daemon corrects what comes")
        assert humidity(daemon) == pytest.approx(NACL_RH, abs=0.1)

        daemon.stop()
        file = tmp_path / "enclosures.toml"
        new = 'id = "canopy"\ncalibration = { humidity = { offset = -2 } }'
        file.write_text(file.read_text().replace('id = "canopy"', new))
        daemon.start()
        assert "Calibration 1 is not any more" in daemon.log.read_text()
        with closing(Database(tmp_path / "dewkeep.db")) as database, database.reading() as reader:
            (told,) = reader.execute(
                "SELECT channel FROM outbox WHERE kind = 'calibration_undone'"
            ).fetchall()
        assert told == ("phone",)
    finally:
        daemon.close()
