"""For whoever watches the watcher."""

import httpx
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from monitor.ingest.rejects import Reject
from tests.support.house import NOW_MS, House


def test_alive_but_not_ready_without_a_broker(http: httpx.Client) -> None:
    """The loop turns, so no restart helps; readings cannot come in, and it says why."""
    assert http.get("/healthz").status_code == 200
    ready = http.get("/readyz")

    assert ready.status_code == 503
    assert ready.json()["store"]["ok"]
    assert not ready.json()["broker"]["ok"]


def test_a_loop_that_ended_is_told(house: House) -> None:
    """A dead ingest thread makes the process unhealthy."""
    house.loop.stop()

    assert house.http.get("/healthz").status_code == 503
    assert house.http.put("/api/v1/rooms/x", json={"id": "x", "name": "X"}).status_code == 503


def test_metrics_are_open_metrics(house: House) -> None:
    """The text is read by the parser of prometheus_client, and counts what happened."""
    house.rejects.add(Reject(NOW_MS, "dewkeep/a/b", "not_finite", "temperature NaN"))
    house.crash()

    answer = house.http.get("/metrics")
    samples = {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(answer.text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    }

    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1")
    assert samples["dewkeep_rejected_total", "not_finite"] == 1
    assert samples["dewkeep_alarms_open", "unacknowledged"] == 1
    assert samples["dewkeep_broker_connected",] == 0


def test_rejected_messages_are_shown(house: House) -> None:
    """With topic, reason and words, the newest first."""
    house.rejects.add(Reject(NOW_MS, "dewkeep/a/b", "unknown", "no such probe"))

    rejected = house.http.get("/api/v1/health").json()["rejected"]

    assert rejected["counts"] == {"unknown": 1}
    assert rejected["recent"][0]["topic"] == "dewkeep/a/b"


def test_failures_tell_no_secrets(house: House) -> None:
    """A store that is gone and a mistake of ours are problem documents without insides."""
    house.now_ms = None  # type: ignore[assignment]  # the clock breaks
    mistake = house.http.get("/api/v1/enclosures/cork-cube/climate")
    house.now_ms = NOW_MS
    house.database.close()
    gone = house.http.get("/api/v1/alarms")

    assert (mistake.status_code, gone.status_code) == (500, 503)
    assert gone.headers["retry-after"] == "5"
    for answer in (mistake, gone):
        assert answer.headers["content-type"] == "application/problem+json"
        assert "Traceback" not in answer.text
        assert "dewkeep.db" not in answer.text


def test_how_far_behind_the_readings_are_is_told(house: House) -> None:
    """Of the last batch, in words and as a number; it makes nothing unready by itself."""
    assert house.http.get("/readyz").json()["lag"]["says"] == "no reading since the start"
    house.take("canopy", NOW_MS - 3_600_000, 23.0, 70.0)

    lag = house.http.get("/readyz").json()["lag"]
    assert lag == {"ok": True, "says": "the last readings taken in were 3600 s old"}
    assert "dewkeep_lag_seconds 3600.0" in house.http.get("/metrics").text


def test_what_waits_to_be_told_is_told(house: House) -> None:
    """And an outbox that cannot be read is no empty one."""
    assert house.http.get("/readyz").json()["channels"] == {"ok": True, "says": "nothing waits"}
    house.database.close()

    channels = house.http.get("/readyz").json()["channels"]
    assert not channels["ok"]
    assert "cannot be read" in channels["says"]


def test_the_write_ahead_log_is_measured(house: House) -> None:
    """Its size is that of the file beside the database."""
    house.take("canopy", NOW_MS, 23.0, 70.0)
    size = house.database.path.with_name("dewkeep.db-wal").stat().st_size
    (line,) = [
        line
        for line in house.http.get("/metrics").text.splitlines()
        if line.startswith("dewkeep_wal_bytes ")
    ]

    assert float(line.split()[1]) == size > 0
