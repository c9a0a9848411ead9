"""A reading's whole way, through a real broker, a real process and a real HTTP receiver."""

import time
from pathlib import Path

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

TOPIC = "dewkeep/cork-cube/canopy"


def climate(daemon: RunningDaemon) -> dict[str, dict[str, object]]:
    """The one probe's newest readings."""
    probe: dict[str, dict[str, object]] = daemon.get("/enclosures/cork-cube/climate")["probes"][0]
    return probe


def test_a_reading_is_published_kept_and_read_back(
    daemon: RunningDaemon, mosquitto: Mosquitto
) -> None:
    """What a probe publishes is read at the API, with the dew point of CoolProp (0.01 K)."""
    with Publisher(mosquitto.port) as probe:
        probe.send(TOPIC, senml(int(time.time()), 23.4, 81.2))
        eventually(lambda: "dew_point" in climate(daemon), "the reading at the API")

    now = climate(daemon)
    by_coolprop = HAPropsSI("Tdp", "T", 296.55, "R", 0.812, "P", 101_325) - 273.15
    assert now["temperature"] == {"value": 23.4, "unit": "Cel", "quality": "good"}
    assert now["humidity"] == {"value": 81.2, "unit": "%RH", "quality": "good"}
    assert now["dew_point"]["value"] == pytest.approx(by_coolprop, abs=0.01)


def test_a_crash_raises_one_alarm_and_tells_once(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Humidity under its limit for the on-delay: one alarm, one signed webhook, acknowledged."""
    receiver = Receiver()
    (tmp_path / "hook.secret").write_text("between us")
    daemon = RunningDaemon(
        tmp_path,
        mosquitto.port,
        more=f'\n[[channel]]\nname = "phone"\nkind = "webhook"\nurl = "{receiver.url}"\n'
        'secret_file = "hook.secret"\nallow_private = true\n',
    ).start()
    try:
        start = int(time.time()) - 3600
        with Publisher(mosquitto.port) as probe:
            probe.send_all((TOPIC, senml(start + 30 * n, 23.0, 45.0)) for n in range(60))
            probe.send_all((TOPIC, senml(start + 30 * n, 23.0, 44.0)) for n in range(60, 100))
            eventually(lambda: receiver.received, "the webhook")
        alarms = daemon.get("/alarms", enclosure="cork-cube")
        eventually(lambda: daemon.get("/health")["channels"][0]["waiting"] == 0, "outbox is empty")

        assert len(alarms) == 1
        (alarm,) = alarms
        assert alarm["state"] == "unacknowledged"
        assert (alarm["quantity"], alarm["condition"]) == ("humidity", "low")
        assert len(receiver.received) == 1
        assert receiver.received[0].json["id"] == alarm["id"]
        headers = {name.lower() for name in receiver.received[0].headers}
        assert {"dewkeep-signature", "dewkeep-timestamp", "idempotency-key"} <= headers

        acknowledged = daemon.post(f"/alarms/{alarm['id']}/acknowledge")
        assert acknowledged["state"] == "acknowledged"
        again = daemon.http.post(f"/api/v1/alarms/{alarm['id']}/acknowledge")
        assert again.status_code == 409
        assert again.headers["content-type"] == "application/problem+json"
    finally:
        daemon.close()
        receiver.close()


def test_an_alarm_survives_a_restart_and_clears(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Acknowledged before a restart, normal again by readings that come after it."""
    daemon = RunningDaemon(tmp_path, mosquitto.port).start()
    start = int(time.time()) - 7200
    try:
        with Publisher(mosquitto.port) as probe:
            probe.send_all((TOPIC, senml(start + 30 * n, 23.0, 45.0)) for n in range(60))
            eventually(lambda: daemon.get("/alarms"), "the alarm")
            (alarm,) = daemon.get("/alarms")
            daemon.post(f"/alarms/{alarm['id']}/acknowledge")
            daemon.kill()
            daemon.start()
            assert daemon.get("/alarms")[0]["state"] == "acknowledged"

            probe.send_all((TOPIC, senml(start + 1800 + 30 * n, 23.0, 70.0)) for n in range(30))
            eventually(lambda: daemon.get("/alarms")[0]["state"] == "normal", "it clears")

        assert len(daemon.get("/alarms")) == 1
    finally:
        daemon.close()


def test_a_silent_probe_is_told(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """A probe that stops reporting raises an alarm of its own by the daemon's clock."""
    setup = """
        [[enclosure]]
        id = "cork-cube"
        name = "Cork cube"
        probe = [{ id = "canopy", zone = "canopy", period_s = 1, silent_after_s = 2 }]
    """
    daemon = RunningDaemon(tmp_path, mosquitto.port, setup=setup).start()
    try:
        (alarm,) = eventually(lambda: daemon.get("/alarms"), "the silence")
        assert alarm["condition"] == "silent"
        with Publisher(mosquitto.port) as probe:
            probe.send(TOPIC, senml(time.time(), 23.0, 70.0))
            eventually(
                lambda: daemon.get("/alarms")[-1]["state"] == "returned-unacknowledged", "heard"
            )
    finally:
        daemon.close()


def test_a_misting_becomes_a_journal_entry(daemon: RunningDaemon, mosquitto: Mosquitto) -> None:
    """A mister that reports on and off leaves one entry with its seconds."""
    at = int(time.time()) - 60
    with Publisher(mosquitto.port) as probe:
        for seconds, on in ((0, "true"), (12, "false")):
            probe.send(TOPIC, b'[{"n":"mister","t":%d,"vb":%s}]' % (at + seconds, on.encode()))

        def misted() -> bool:
            entries = daemon.get("/enclosures/cork-cube/journal")
            return bool(entries) and entries[0].get("seconds") == 12

        eventually(misted, "the misting")

    (entry,) = daemon.get("/enclosures/cork-cube/journal")
    assert (entry["kind"], entry["source"]) == ("misted", "mister")


def test_what_cannot_be_used_is_counted_and_the_rest_goes_on(
    daemon: RunningDaemon, mosquitto: Mosquitto
) -> None:
    """Hostile and mistaken payloads are counted by reason; the good ones among them are kept."""
    bad = [
        b"{broken",
        b"[" * 100_000,
        b"\xff\xfe",
        b'[{"n":"temperature","u":"F","v":73.4}]',
        b'[{"n":"temperature","u":"Cel","v":NaN}]',
        b'[{"n":"temperature","u":"Cel","v":1e400}]',
        b'[{"n":"temperature","u":"Cel","v":"23"}]',
        b'[{"n":"temperature","u":"Cel","v":[[23]]}]',
        b"[" + b" " * 5_000_000 + b"]",
    ]
    with Publisher(mosquitto.port) as probe:
        probe.send_all((TOPIC, payload) for payload in bad)
        probe.send("dewkeep/nowhere/canopy", senml(time.time(), 20.0, 50.0))
        probe.send("dewkeep/cork-cube/attic", senml(time.time(), 20.0, 50.0))
        probe.send(TOPIC, senml(int(time.time()), 23.5, 70.0))
        eventually(lambda: "temperature" in climate(daemon), "the good one")

    rejected = daemon.get("/health")["rejected"]["counts"]
    assert sum(rejected.values()) == len(bad) + 2
    assert rejected["unknown"] == 2
    assert rejected["wrong_unit"] == 1
    assert rejected["too_large"] == 1
    assert climate(daemon)["temperature"]["value"] == 23.5


def test_a_set_up_changed_over_http_is_in_force_at_once(
    daemon: RunningDaemon, mosquitto: Mosquitto
) -> None:
    """A probe added with PUT is listened to without a restart; a lost update is refused."""
    answer = daemon.http.get("/api/v1/enclosures/cork-cube")
    enclosure, etag = answer.json(), answer.headers["etag"]
    enclosure["probe"].append({"id": "floor", "zone": "floor"})

    changed = daemon.http.put(
        "/api/v1/enclosures/cork-cube", json=enclosure, headers={"If-Match": etag}
    )
    assert changed.status_code == 200, changed.text
    stale = daemon.http.put(
        "/api/v1/enclosures/cork-cube", json=enclosure | {"name": "X"}, headers={"If-Match": etag}
    )
    with Publisher(mosquitto.port) as probe:
        probe.send("dewkeep/cork-cube/floor", senml(int(time.time()), 21.0, 88.0))
        eventually(
            lambda: "humidity" in daemon.get("/enclosures/cork-cube/climate")["probes"][1],
            "the new probe",
        )

    assert stale.status_code == 409
    assert daemon.get("/enclosures/cork-cube")["name"] == "Cork cube"
