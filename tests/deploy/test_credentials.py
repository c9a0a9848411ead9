"""TLS, passwords and rules against a real mosquitto: each may do its part, and nothing else."""

import re
import ssl
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from tests.deploy.conftest import DEPLOY, Safe, ShippedBroker
from tests.support.daemon import RunningDaemon
from tests.support.publisher import senml
from tests.support.waiting import eventually

CANOPY = "dewkeep/cork-cube/canopy"
HUNG_UP = "hung up"
TAKEN = "Success"
"""What a broker answers; "no matching subscribers" is as good."""


class Device:
    """A client over MQTT 5, whose broker says what it thinks of each message."""

    def __init__(self, port: int, context: ssl.SSLContext | None) -> None:
        self._connected: list[str] = []
        self.messages: list[mqtt.MQTTMessage] = []
        self._answers: dict[int, ReasonCode] = {}
        self._granted: dict[int, list[ReasonCode]] = {}
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._port = port
        if context is not None:
            self.client.tls_set_context(context)
        self.client.on_connect = lambda _c, _d, _f, reason, _p: self._connected.append(
            reason.getName()
        )
        self.client.on_disconnect = lambda *_: self._connected.append(HUNG_UP)
        self.client.on_message = lambda _c, _d, message: self.messages.append(message)
        self.client.on_publish = lambda _c, _d, mid, reason, _p: self._answers.update({mid: reason})
        self.client.on_subscribe = lambda _c, _d, mid, reasons, _p: self._granted.update(
            {mid: reasons}
        )

    def connect(self) -> str:
        """What the broker answers to a connection."""
        self.client.connect("localhost", self._port)
        self.client.loop_start()
        eventually(lambda: self._connected, "an answer")
        return self._connected[0]

    def close(self) -> None:
        """Leave, and let go of the client: in a ring of references its sockets would close late."""
        self.client.disconnect()
        self.client.loop_stop()
        del self.client

    def publish(self, topic: str, payload: bytes = b"x", *, retain: bool = False) -> str:
        """What the broker answers to a message."""
        mid = self.client.publish(topic, payload, qos=1, retain=retain).mid
        eventually(lambda: mid in self._answers, "an answer")
        answer = self._answers[mid]
        return answer.getName() if answer.is_failure else TAKEN

    def subscribe(self, topic: str) -> str:
        """What the broker answers to a subscription."""
        _, mid = self.client.subscribe(topic, qos=1)
        assert mid is not None
        eventually(lambda: mid in self._granted, "an answer")
        return self._granted[mid][0].getName()


@contextmanager
def device(
    broker: ShippedBroker,
    safe: Safe,
    name: str = "rack",
    password: str | None = None,
    certificate: str | None = None,
) -> Iterator[Device]:
    """A device that trusts our authority; by default with the right password."""
    context = ssl.create_default_context(cafile=safe.folder / "ca.pem")
    if certificate is not None:
        where = safe.folder / certificate
        context.load_cert_chain(f"{where}.pem", f"{where}.key")
    one = Device(broker.tls_port, context)
    one.client.username_pw_set(name, safe.password(name) if password is None else password)
    try:
        yield one
    finally:
        one.close()


def run_daemon(folder: Path, broker: ShippedBroker, safe: Safe, more: str = "") -> RunningDaemon:
    """A daemon that comes over TLS with the password that was made for it."""
    daemon = RunningDaemon(folder, broker.tls_port)
    text = daemon.config.read_text()
    daemon.config.write_text(
        text.replace('client_id = "under-test"', 'client_id = "dewkeep"').replace(
            "[broker]",
            f"[broker]\nhost = 'localhost'\ntls = true\nca_file = '{safe.folder}/ca.pem'\n"
            f"username = 'dewkeep'\npassword_file = '{safe.folder}/dewkeep.secret'\n{more}",
        )
    )
    return daemon


def test_a_reading_over_tls_all_the_way(tmp_path: Path, broker: ShippedBroker, safe: Safe) -> None:
    """Device to broker to daemon with what the script made; the daemon's state comes back."""
    daemon = run_daemon(tmp_path, broker, safe).start()
    try:
        daemon.wait_ready()
        with device(broker, safe) as rack:
            assert rack.connect() == "Success"
            assert rack.publish(CANOPY, senml(time.time(), 23.0, 70.0)) == "Success"
        eventually(
            lambda: "humidity" in daemon.get("/enclosures/cork-cube/climate")["probes"][0],
            "the reading",
        )
    finally:
        daemon.close()
    safe.make("device", "viewer", "nothing/at/all")
    acl = safe.folder / "acl"
    acl.write_text(acl.read_text() + "topic read dewkeep-state/#\n")
    broker.stop()
    broker.start()
    with device(broker, safe, "viewer") as viewer:
        viewer.connect()
        viewer.subscribe("dewkeep-state/dewkeep")
        eventually(lambda: viewer.messages, "the retained state")
        assert viewer.messages[0].payload == b'{"state":"stopped"}'


@pytest.mark.parametrize(
    ("name", "password"), [("rack", "wrong"), ("rack", ""), ("nobody", "x"), ("dewkeep", "x")]
)
def test_a_wrong_password(broker: ShippedBroker, safe: Safe, name: str, password: str) -> None:
    """Refused, whoever it is said to be."""
    with device(broker, safe, name, password) as stranger:
        assert stranger.connect() == "Not authorized"


def test_no_password_at_all(broker: ShippedBroker) -> None:
    """Nobody is let in without a name, on this machine neither."""
    stranger = Device(broker.port, None)
    assert stranger.connect() == "Not authorized"
    stranger.close()


@pytest.mark.parametrize(
    "topic",
    [
        "dewkeep/cork-cube/other",
        "dewkeep/other/canopy",
        "dewkeep-alarms/cork-cube/x",
        "dewkeep-state/dewkeep",
        "elsewhere",
    ],
)
def test_a_forbidden_topic(broker: ShippedBroker, safe: Safe, topic: str) -> None:
    """A device that was broken into can lie about its own probes and about nothing else."""
    with device(broker, safe) as rack:
        rack.connect()

        assert rack.publish(topic) == "Not authorized"
        assert rack.publish(CANOPY) == "Success"


def test_a_device_hears_nothing(broker: ShippedBroker, safe: Safe) -> None:
    """It may subscribe, but no message reaches it: not even its own."""
    with device(broker, safe) as rack, device(broker, safe, "dewkeep") as owner:
        rack.connect()
        rack.subscribe("#")
        owner.connect()
        assert owner.publish("dewkeep-state/dewkeep", b"here") == "Success"
        assert rack.publish(CANOPY, b"mine") == "Success"
        owner.subscribe("dewkeep/#")
        assert rack.publish(CANOPY, b"again") == "Success"
        eventually(lambda: owner.messages, "what the owner may hear")

        assert [message.payload for message in owner.messages] == [b"again"]
        assert rack.messages == []


def test_the_daemon_cannot_write_readings(broker: ShippedBroker, safe: Safe) -> None:
    """Whoever holds its password cannot invent weather."""
    with device(broker, safe, "dewkeep") as owner:
        owner.connect()

        assert owner.publish(CANOPY) == "Not authorized"
        assert owner.publish("dewkeep-alarms/cork-cube/x") == "Success"


@pytest.mark.slow
def test_a_broker_of_another_authority(tmp_path: Path, broker: ShippedBroker, safe: Safe) -> None:
    """The daemon does not give its password to it, stays up, and says why it is not ready."""
    other = Safe(tmp_path / "other")
    other.make("authority")
    daemon = run_daemon(tmp_path, broker, safe)
    daemon.config.write_text(
        daemon.config.read_text().replace(f"{safe.folder}/ca.pem", f"{other.folder}/ca.pem")
    )
    try:
        daemon.start()
        says = daemon.http.get("/readyz").json()["broker"]["says"]

        assert "certificate verify failed" in says
        assert daemon.http.get("/healthz").status_code == 200
    finally:
        daemon.close()
    assert "as dewkeep" not in broker.log


@pytest.mark.slow
def test_a_broker_under_another_name(tmp_path: Path, broker: ShippedBroker, safe: Safe) -> None:
    """A certificate for another machine is not this one's."""
    safe.make("broker", "elsewhere.example")
    broker.stop()
    broker.start()
    daemon = run_daemon(tmp_path, broker, safe)
    try:
        daemon.start()

        assert "is not valid for" in daemon.http.get("/readyz").json()["broker"]["says"]
    finally:
        daemon.close()


@pytest.fixture
def strict(tmp_path: Path, safe: Safe) -> Iterator[ShippedBroker]:
    """A broker that asks for a certificate besides."""
    folder = tmp_path / "strict"
    folder.mkdir()
    running = ShippedBroker(folder, safe, "require_certificate true").start()
    assert isinstance(running, ShippedBroker)
    yield running
    running.stop()


@pytest.mark.slow
def test_a_broker_that_asks_for_a_certificate(
    tmp_path: Path, strict: ShippedBroker, safe: Safe
) -> None:
    """The daemon shows the one it has; without one it says what is asked for."""
    safe.make("certificate", "daemon-1")
    shown = f"cert_file = '{safe.folder}/daemon-1.pem'\nkey_file = '{safe.folder}/daemon-1.key'\n"
    daemon = run_daemon(tmp_path, strict, safe, shown)
    with_one = daemon.config.read_text()
    try:
        daemon.start()
        daemon.wait_ready()
        daemon.stop()
        daemon.config.write_text(with_one.replace(shown, ""))
        daemon.start()

        assert "broker.cert_file" in daemon.http.get("/readyz").json()["broker"]["says"]
    finally:
        daemon.close()


def test_a_certificate_of_another_authority(
    tmp_path: Path, strict: ShippedBroker, safe: Safe
) -> None:
    """It is worth nothing, the right password with it."""
    other = Safe(tmp_path / "other")
    other.make("authority")
    other.make("certificate", "rack")
    for kind in ("pem", "key"):
        (safe.folder / f"foreign.{kind}").write_text((other.folder / f"rack.{kind}").read_text())

    with device(strict, safe, certificate="foreign") as rack:
        assert rack.connect() == HUNG_UP
    safe.make("certificate", "rack")
    with device(strict, safe, certificate="rack") as rack:
        assert rack.connect() == "Success"


def test_a_file_that_is_no_certificate(tmp_path: Path, broker: ShippedBroker, safe: Safe) -> None:
    """It is told by its name before anything starts."""
    (safe.folder / "junk.pem").write_text("junk")
    shown = f"cert_file = '{safe.folder}/junk.pem'\nkey_file = '{safe.folder}/junk.pem'\n"
    daemon = run_daemon(tmp_path, broker, safe, shown)
    with pytest.raises(AssertionError, match=r"junk.pem: holds no certificate"):
        daemon.start()
    daemon.close()


# -- the script itself -------------------------------------------------------------------------


def test_nothing_is_readable_by_others(safe: Safe) -> None:
    """Keys and secrets are their owner's; what the broker reads is its group's at most."""
    safe.make("certificate", "rack")
    modes = {path.name: path.stat().st_mode & 0o777 for path in safe.folder.iterdir()}

    assert {modes[name] for name in ("ca.key", "rack.key", "rack.secret", "dewkeep.secret")} == {
        0o600
    }
    assert all(modes[name] & 0o037 == 0 for name in ("broker.key", "passwords", "acl"))


def test_passwords_are_kept_as_hashes(safe: Safe) -> None:
    """The broker's file gives none away, and no two are the same."""
    secrets = {safe.password(name) for name in ("rack", "dewkeep")}

    assert len(secrets) == 2
    assert all(len(each) >= 32 for each in secrets)
    assert not any(each in (safe.folder / "passwords").read_text() for each in secrets)


def test_a_device_anew_replaces_the_old(broker: ShippedBroker, safe: Safe) -> None:
    """New password, new topics; the other users stay as they are."""
    before = safe.password("rack"), safe.password("dewkeep")
    safe.make("device", "rack", "dewkeep/fern-jar/floor")
    broker.stop()
    broker.start()

    assert safe.password("dewkeep") == before[1]
    with device(broker, safe, password=before[0]) as old:
        assert old.connect() == "Not authorized"
    with device(broker, safe) as rack:
        rack.connect()
        assert rack.publish(CANOPY) == "Not authorized"
        assert rack.publish("dewkeep/fern-jar/floor") == "Success"


def test_a_device_that_is_removed(broker: ShippedBroker, safe: Safe) -> None:
    """It is let in no more."""
    password = safe.password("rack")
    safe.make("remove", "rack")
    broker.stop()
    broker.start()

    with device(broker, safe, password=password) as rack:
        assert rack.connect() == "Not authorized"
    assert not (safe.folder / "rack.secret").exists()
    assert "rack" not in (safe.folder / "acl").read_text()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("authority",), "would lock every device out"),
        (("device", "rack"), "device NAME TOPIC"),
        (("device", "dewkeep", "dewkeep/a/b"), "is the daemon's"),
        (("device", "a b", "dewkeep/a/b"), "is no usable name"),
        (("device", "../x", "dewkeep/a/b"), "is no usable name"),
        (("device", "acl", "dewkeep/a/b"), "is taken by a file"),
        (("device", "x", "dewkeep/#"), "plain topics"),
        (("device", "x", "dewkeep/a/b\nuser y"), "plain topics"),
        (("certificate", "ca"), "is taken by a file"),
        (("frobnicate",), "authority"),
    ],
)
def test_what_makes_no_sense_is_refused(safe: Safe, words: tuple[str, ...], says: str) -> None:
    """Exit code 2, what would be right, and everything as it was."""
    before = {path: path.read_bytes() for path in safe.folder.iterdir()}
    done = safe.run(*words)

    assert done.returncode == 2
    assert says in done.stderr
    assert {path: path.read_bytes() for path in safe.folder.iterdir()} == before


def test_the_steps_of_the_documentation_work(tmp_path: Path) -> None:
    """docs/deployment.md's own commands, in their order, with another folder."""
    page = (DEPLOY.parent / "docs/deployment.md").read_text()
    steps = re.findall(r"deploy/credentials /etc/mosquitto/credentials ([^`\n]+)", page)
    safe = Safe(tmp_path / "credentials")
    for step in steps:
        safe.make(*step.split())

    assert {step.split()[0] for step in steps} == {
        *("authority", "broker", "daemon", "device", "certificate", "remove")
    }
    assert (safe.folder / "broker.pem").exists()
