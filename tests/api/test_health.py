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
