"""Secrets stay where they are kept: not in the log, nor in errors, answers, dumps or back-ups."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto, free_port
from tests.support.waiting import eventually

SECRETS = {
    "broker.secret": "br0ker-s3cret",
    "hook.secret": "h00k-s3cret",
    "mail.secret": "m41l-s3cret",
    "keeper-2.token": "p33r-s3cret",
    "push.secret": "gotify://127.0.0.1:{dead}/p0sh-s3cret-tok3n",
}
IN_ADDRESSES = ("url-s3cret-path", "heart-s3cret")
MARKS = (
    "br0ker-s3cret",
    "h00k-s3cret",
    "m41l-s3cret",
    "p0sh-s3cret-tok3n",
    "p33r-s3cret",
    *IN_ADDRESSES,
)

MORE = """
[[channel]]
name = "phone"
kind = "webhook"
url = "http://127.0.0.1:{dead}/url-s3cret-path"
secret_file = "hook.secret"
allow_private = true

[[channel]]
name = "mail"
kind = "email"
host = "127.0.0.1"
port = {dead}
username = "me"
password_file = "mail.secret"
sender = "a@example.org"
to = ["b@example.org"]

[[channel]]
name = "push"
kind = "push"
url_file = "push.secret"
allow_private = true

[heartbeat]
url = "http://127.0.0.1:{dead}/heart-s3cret"
every_s = 10
allow_private = true

[[peer]]
name = "keeper-2"
url = "http://127.0.0.1:{dead}"
token_file = "keeper-2.token"

[alarms]
on_delay_s = 0

[log]
level = "debug"
"""


@pytest.fixture
def daemon(tmp_path: Path, mosquitto: Mosquitto) -> RunningDaemon:
    """One with a secret in every place that takes one, and nobody at any address but the broker."""
    dead = free_port()
    for name, text in SECRETS.items():
        (tmp_path / name).write_text(text.format(dead=dead))
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=MORE.format(dead=dead))
    daemon.config.write_text(
        daemon.config.read_text().replace(
            "[broker]", '[broker]\nusername = "keeper"\npassword_file = "broker.secret"'
        )
    )
    return daemon


def run(daemon: RunningDaemon, *words: str) -> str:
    """All that a command says."""
    done = subprocess.run(
        [sys.executable, "-m", "monitor", *words, "--config", str(daemon.config)],
        capture_output=True,
        text=True,
    )
    return done.stdout + done.stderr


def found(text: str) -> list[str]:
    """The secrets that a text gives away."""
    return [mark for mark in MARKS if mark in text]


@pytest.mark.slow
def test_no_secret_leaves(tmp_path: Path, daemon: RunningDaemon, mosquitto: Mosquitto) -> None:
    """With everything failing and the log at its most talkative."""
    said = [run(daemon, "check")]
    daemon.start()
    try:
        with Publisher(mosquitto.port) as probe:
            probe.send_all(
                ("dewkeep/cork-cube/canopy", senml(1_795_600_000 + 60 * n, 50.0, 5.0))
                for n in range(10)
            )
        eventually(
            lambda: (
                all(row["waiting"] for row in daemon.get("/health")["channels"])
                and daemon.log.read_text().count("not delivered") >= 3
                and "no heartbeat" in daemon.log.read_text()
                and "keeper-2 does not answer" in daemon.log.read_text()
            ),
            "every channel has failed",
            within_s=60,
        )
        said += [
            daemon.http.get(path).text
            for path in (
                "/",
                "/house",
                "/api/v1/house",
                "/readyz",
                "/metrics",
                "/openapi.json",
                "/api/v1/health",
            )
        ]
        token = run(daemon, "token", "new", "--scope", "operate", "--name", "x").split()[-1]
        said.append(run(daemon, "setup", "dump"))
        run(daemon, "backup", str(tmp_path / "backup.db"))
    finally:
        daemon.close()
    text = daemon.config.read_text()
    for broken in ("port = 8", 'kind = "webhok"', "[[channel"):
        daemon.config.write_text(text + f"\n{broken}\n")
        said.append(run(daemon, "check"))
    said.append(daemon.log.read_text())

    assert found("\n".join(said)) == []
    assert token.startswith("dewkeep_")
    assert token not in "\n".join(said)
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("*.db*"))
    assert token.rpartition("_")[2].encode() not in kept
    assert not [mark for mark in MARKS if mark.encode() in kept]
