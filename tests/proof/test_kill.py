"""Killed in mid-stream, again and again: no reading and no alarm is lost or doubled."""

import random
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from monitor.quantities import Quantity
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

ENCLOSURES = 5
PER_PROBE = 800
KILLS = 4

SETUP = "".join(
    f"""
    [[enclosure]]
    id = "e{n}"
    name = "Enclosure {n}"
    probe = [{{ id = "canopy", zone = "canopy", silent_after_s = 86400 }}]
    range = {{ canopy = {{ day = {{ humidity = [60, 90] }}, night = {{ humidity = [60, 90] }} }} }}
    """
    for n in range(ENCLOSURES)
)


def stream(start: int) -> Iterator[tuple[str, bytes]]:
    """Readings 10 s apart; in each enclosure the humidity crashes once, for good."""
    for step in range(PER_PROBE):
        for n in range(ENCLOSURES):
            humidity = 75.0 if step < 300 + 20 * n else 50.0
            yield f"dewkeep/e{n}/canopy", senml(start + 10 * step, 20 + step / 100, humidity)


@pytest.mark.slow
def test_killed_in_mid_stream(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Every reading is stored once, every crash raised and told exactly once, over four kills."""
    receiver = Receiver()
    daemon = RunningDaemon(
        tmp_path,
        mosquitto.port,
        setup=SETUP,
        more=f'[[channel]]\nname = "phone"\nkind = "webhook"\nurl = "{receiver.url}"\n'
        "allow_private = true\n",
    ).start()
    daemon.wait_ready()
    start = int(time.time()) - 10 * PER_PROBE
    messages = list(stream(start))
    chance = random.Random(7)  # noqa: S311 - chooses when to kill
    slices = [len(messages) * n // (KILLS + 1) for n in range(KILLS + 2)]
    try:
        with Publisher(mosquitto.port) as publisher:
            for begin, end in pairwise(slices):
                for topic, payload in messages[begin:end]:
                    publisher.send(topic, payload)
                time.sleep(chance.uniform(0.0, 0.15))  # somewhere within the stream
                if end < len(messages):
                    daemon.kill()
                    daemon.start()
            publisher.flush()
            newest = start + 10 * (PER_PROBE - 1)

            def all_in() -> bool:
                probes = [
                    daemon.get(f"/enclosures/e{n}/climate")["probes"][0] for n in range(ENCLOSURES)
                ]
                return all(
                    p["at"] and p["temperature"]["value"] >= 20 + (PER_PROBE - 1) / 100 - 1e-9
                    for p in probes
                )

            eventually(all_in, f"the last readings ({newest})")
            eventually(
                lambda: len({r.json["id"] for r in receiver.received}) == ENCLOSURES, "all told"
            )
        alarms = daemon.get("/alarms")
    finally:
        daemon.close()
        receiver.close()

    database = Database(tmp_path / "dewkeep.db")
    readings = SqliteReadings(database)
    for n in range(ENCLOSURES):
        track = readings.track(
            SeriesKey(f"e{n}", "canopy", Quantity.TEMPERATURE), 0, 2**62 // 1_000_000
        )
        assert track.at_ms.tolist() == [1000 * (start + 10 * step) for step in range(PER_PROBE)]
        assert track.value.tolist() == [20 + step / 100 for step in range(PER_PROBE)]
    database.close()
    assert sorted(alarm["enclosure"] for alarm in alarms) == [f"e{n}" for n in range(ENCLOSURES)]
    keys = [request.headers["Idempotency-Key"] for request in receiver.received]
    assert len(set(keys)) == ENCLOSURES


def test_a_broker_that_stops_and_comes_back(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Readiness says that the broker is gone; its return is noticed; nothing sent is lost."""
    daemon = RunningDaemon(tmp_path, mosquitto.port).start()
    daemon.wait_ready()
    try:
        with Publisher(mosquitto.port) as publisher:
            publisher.send("dewkeep/cork-cube/canopy", senml(time.time() - 60, 22.0, 70.0))
            publisher.flush()
            mosquitto.stop()
            eventually(lambda: daemon.http.get("/readyz").status_code == 503, "not ready")
            assert daemon.http.get("/healthz").status_code == 200
            mosquitto.start()
            publisher.send("dewkeep/cork-cube/canopy", senml(time.time(), 23.0, 71.0))
            publisher.flush()
            daemon.wait_ready()

            def arrived() -> bool:
                probe = daemon.get("/enclosures/cork-cube/climate")["probes"][0]
                return bool(probe.get("temperature", {}).get("value") == 23.0)

            eventually(arrived, "what was sent after the return")
    finally:
        daemon.close()
