"""The daemon as a process: what it starts with, what it refuses, how it ends."""

import os
import signal
import socket
import threading
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from monitor.cli.options import DEFAULT_CONFIG
from monitor.setup.models import Enclosure, Probe, Zone
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup, tokens
from monitor.store.sqlite.state.tokens import Scope
from tests.support.daemon import RunningDaemon
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

NewDaemon = Callable[..., RunningDaemon]
OPEN_TO_ALL = {"DEWKEEP_SERVER__HOST": "0.0.0.0"}


def alive(daemon: RunningDaemon) -> bool:
    """Whether it answers."""
    try:
        return daemon.http.get("/healthz").status_code == 200
    except httpx.TransportError:
        return False


def test_a_port_in_use_is_told(new_daemon: NewDaemon) -> None:
    """By its key, with what to do; nothing else has been touched."""
    daemon = new_daemon()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", daemon.http_port))
        taken.listen()
        says = daemon.refused()

    assert f"server.port: cannot listen on 127.0.0.1:{daemon.http_port}" in says
    assert "Traceback" not in says
    assert not (daemon.folder / "dewkeep.db").exists()


def test_a_folder_that_cannot_be_written_is_told(new_daemon: NewDaemon, tmp_path: Path) -> None:
    """With what to check."""
    folder = tmp_path / "read-only"
    folder.mkdir()
    folder.chmod(0o555)
    # To root no folder is read-only, but one that the kernel makes up.
    path = (Path("/proc") if os.geteuid() == 0 else folder) / "dewkeep.db"
    says = new_daemon().refused(DEWKEEP_STORE__PATH=str(path))

    assert f"{path}: cannot be opened for writing" in says
    assert "belongs to the user dewkeep runs as" in says
    assert "Traceback" not in says


def test_wrong_settings_and_set_up_are_told(new_daemon: NewDaemon) -> None:
    """By file and key, as `dewkeep check` does."""
    daemon = new_daemon()
    (daemon.folder / "enclosures.toml").write_text('[[enclosure]]\nid = "a b"\nname = "A"\n')
    says = daemon.refused()

    assert f"{daemon.folder / 'enclosures.toml'}: enclosure[a b].id: must be an id" in says
    assert daemon.config.name == DEFAULT_CONFIG


def test_a_device_that_is_two_probes_is_told(new_daemon: NewDaemon) -> None:
    """Settings that contradict what was set up by form are told at start, not guessed at."""
    daemon = new_daemon(more='[[source]]\ntopic = "rack/{device}"\ndevices = { a = "x/y" }\n')
    daemon.config.write_text(daemon.config.read_text().replace('file = "enclosures.toml"', ""))
    probe = Probe(id="floor", zone=Zone.FLOOR, device="a")
    jar = Enclosure(id="jar", name="Jar", probe=(probe,))
    database = Database(daemon.folder / "dewkeep.db")
    with database.transaction() as connection:
        setup.put(connection, jar, who="form", now_ms=0)
    database.close()

    assert "source[1].devices.a: device 'a' is x/y in the settings and jar/floor in the set-up" in (
        daemon.refused()
    )


@pytest.mark.slow
def test_open_to_other_machines_it_wants_tokens(new_daemon: NewDaemon) -> None:
    """It refuses to start without one that is not revoked; with one it asks for it."""
    daemon = new_daemon()
    without = daemon.refused(**OPEN_TO_ALL)
    database = Database(daemon.folder / "dewkeep.db")
    with database.transaction() as connection:
        tokens.create(connection, "lost", Scope.OPERATE, 0)
        tokens.revoke(connection, 1, 0)
    revoked = daemon.refused(**OPEN_TO_ALL)
    with database.transaction() as connection:
        token = tokens.create(connection, "keeper", Scope.VIEW, 0)
    database.close()
    daemon.begin(**OPEN_TO_ALL)
    eventually(lambda: alive(daemon), "it answers")
    bearing = {"Authorization": f"Bearer {token}"}

    for says in (without, revoked):
        assert "server.host: 0.0.0.0 can be reached from other machines" in says
        assert "dewkeep token new --scope operate" in says
    assert daemon.http.get("/api/v1/enclosures").status_code == 401
    assert daemon.http.get("/api/v1/enclosures", headers=bearing).status_code == 200


def test_without_a_broker_it_is_up_and_says_what_it_lacks(new_daemon: NewDaemon) -> None:
    """What was recorded can be looked at; readiness tells the truth."""
    daemon = new_daemon()
    daemon.begin()
    eventually(lambda: alive(daemon), "it answers")
    ready = eventually(
        lambda: (
            (answer := daemon.http.get("/readyz").json())["broker"]["says"].startswith("cannot")
            and answer
        ),
        "it tried",
    )

    assert ready["ready"] is False
    assert ready["store"]["ok"] is True
    assert ready["broker"]["says"].startswith("cannot reach broker 127.0.0.1:")
    assert [each["id"] for each in daemon.get("/enclosures")] == ["cork-cube"]


def test_a_wrong_password_is_told_and_the_daemon_stays(
    new_daemon: NewDaemon, tmp_path: Path
) -> None:
    """Readiness says what to check."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    (folder / "users").write_text("")
    (folder / "users").chmod(0o600)
    broker = Mosquitto(folder, [f"password_file {folder / 'users'}"]).start()
    try:
        daemon = new_daemon(broker.port)
        daemon.begin(DEWKEEP_BROKER__USERNAME="dewkeep", DEWKEEP_BROKER__PASSWORD="wrong")
        eventually(lambda: alive(daemon), "it answers")
        eventually(lambda: "refuses us" in daemon.http.get("/readyz").text, "it was refused")
        answer = daemon.http.get("/readyz")

        assert answer.status_code == 503
        assert "check broker.username and broker.password_file" in answer.json()["broker"]["says"]
        assert alive(daemon)
        assert "wrong" not in daemon.log.read_text()
    finally:
        broker.stop()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_stop_it_ends_open_streams_and_itself(
    new_daemon: NewDaemon, mosquitto: Mosquitto, number: signal.Signals
) -> None:
    """Code 0, the stream is ended in good order and not cut off, the broker is told."""
    daemon = new_daemon(mosquitto.port).start()
    with daemon.http.stream("GET", "/api/v1/events") as stream:
        assert stream.status_code == 200
        rest: list[str] = []
        reading = threading.Thread(target=lambda: rest.extend(stream.iter_text()))
        reading.start()
        os.kill(daemon.pid, number)
        reading.join(20)
        assert not reading.is_alive()
        code = daemon.stop()

    assert code == 0
    assert daemon.last_words == ""
    assert "Traceback" not in daemon.log.read_text()


def test_asked_to_stop_before_it_is_ready_it_stops(new_daemon: NewDaemon) -> None:
    """While it still looks for a broker; it does not claim to be ready then."""
    daemon = new_daemon()
    daemon.begin()
    eventually(lambda: alive(daemon), "it answers")

    assert daemon.stop() == 0
    assert daemon.last_words == ""


def test_it_listens_on_ipv6_too(new_daemon: NewDaemon, mosquitto: Mosquitto) -> None:
    """And says so in an address that can be followed."""
    daemon = new_daemon(mosquitto.port)
    daemon.begin(DEWKEEP_SERVER__HOST="::1")
    address = daemon.printed().removeprefix("ready on ").strip()

    assert address == f"http://[::1]:{daemon.http_port}"
    assert httpx.get(f"{address}/healthz").status_code == 200


@pytest.mark.slow
def test_a_restart_finds_its_port_free(new_daemon: NewDaemon, mosquitto: Mosquitto) -> None:
    """At once, though connections were open."""
    daemon = new_daemon(mosquitto.port).start()
    daemon.get("/enclosures")
    assert daemon.stop() == 0
    daemon.start()

    assert alive(daemon)
