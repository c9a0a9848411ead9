"""The daemon over InfluxDB and VictoriaMetrics, killed with it: nothing is lost or doubled."""

import time
from contextlib import closing
from pathlib import Path

import pytest

from monitor.quantities import Quantity
from monitor.setup.settings import load_settings
from monitor.store.engines import opened
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from tests.proof.test_kill import ENCLOSURES, PER_PROBE, SETUP, stream
from tests.support.daemon import RunningDaemon
from tests.support.engines import TimeSeriesServer
from tests.support.publisher import Publisher
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

SETTINGS = """
[[channel]]
name = "phone"
kind = "webhook"
url = "{hook}"
allow_private = true
"""
ENVIRON = "DEWKEEP_STORE__"


@pytest.mark.slow
def test_engine_and_daemon_killed_in_mid_stream(
    tmp_path: Path, mosquitto: Mosquitto, server: TimeSeriesServer
) -> None:
    """Every reading is stored once, every crash of humidity raised and told once.

    While the server is away nothing is acknowledged: what came then is found again after the
    daemon was killed too, so the broker must have kept it.
    """
    receiver = Receiver()
    environ = {f"{ENVIRON}ENGINE": server.engine, f"{ENVIRON}URL": server.url}
    daemon = RunningDaemon(
        tmp_path, mosquitto.port, setup=SETUP, more=SETTINGS.format(hook=receiver.url)
    ).start(**environ)
    daemon.wait_ready()
    start = int(time.time()) - 10 * PER_PROBE
    messages = list(stream(start))
    quarter = len(messages) // 4
    try:
        with Publisher(mosquitto.port) as publisher:
            publisher.send_all(messages[:quarter])
            server.kill()
            publisher.send_all(messages[quarter : 2 * quarter])
            eventually(
                lambda: server.url in daemon.http.get("/readyz").text, "readiness tells of it"
            )
            server.revive()
            daemon.wait_ready()
            publisher.send_all(messages[2 * quarter : 3 * quarter])
            server.kill()
            publisher.send_all(messages[3 * quarter :])
            eventually(lambda: daemon.http.get("/readyz").status_code == 503, "not ready")
            daemon.kill()
            server.revive()
            daemon.start(**environ)

            def all_in() -> bool:
                newest = [
                    daemon.get(f"/enclosures/e{n}/climate")["probes"][0]["temperature"]["value"]
                    for n in range(ENCLOSURES)
                ]
                return all(value >= 20 + (PER_PROBE - 1) / 100 - 1e-9 for value in newest)

            eventually(all_in, "the last readings")
            eventually(
                lambda: len({r.json["id"] for r in receiver.received}) == ENCLOSURES, "all told"
            )
        alarms = daemon.get("/alarms")
    finally:
        daemon.close()
        receiver.close()

    server.show()
    settings = load_settings(daemon.config, environ)
    with (
        closing(Database(settings.store.path)) as database,
        opened(settings.store, database) as readings,
    ):
        for n in range(ENCLOSURES):
            key = SeriesKey(f"e{n}", "canopy", Quantity.TEMPERATURE)
            track = readings.track(key, 1000 * start, 1000 * start + 10_000 * PER_PROBE)
            assert track.at_ms.tolist() == [1000 * (start + 10 * step) for step in range(PER_PROBE)]
            # VictoriaMetrics keeps about 13 digits.
            expected = [20 + step / 100 for step in range(PER_PROBE)]
            assert track.value.tolist() == pytest.approx(expected, rel=1e-12)
            one = readings.buckets(key, 0, 1000 * start + 10_000 * PER_PROBE, 1)
            assert one.count.tolist() == [PER_PROBE]
    assert sorted(alarm["enclosure"] for alarm in alarms) == [f"e{n}" for n in range(ENCLOSURES)]
    keys = [request.headers["Idempotency-Key"] for request in receiver.received]
    assert len(set(keys)) == ENCLOSURES
