"""`dewkeep serve` as a process: what it refuses, what it survives, how it stops."""

import subprocess
import sys
import threading
from pathlib import Path

import httpx
import pytest

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto, free_port
from tests.support.waiting import eventually


def refused(daemon: RunningDaemon) -> str:
    """What a daemon says that does not start; exit code 2 and no traceback."""
    done = subprocess.run(
        [sys.executable, "-m", "monitor", "serve", "--config", str(daemon.config)],
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    return done.stderr


def test_a_port_in_use_is_told(tmp_path: Path) -> None:
    """The second daemon says which port is taken, and ends."""
    first = RunningDaemon(tmp_path, free_port()).start()
    try:
        says = refused(first)
        assert f"server.port: cannot listen on 127.0.0.1:{first.http_port}" in says
    finally:
        first.close()


def test_open_to_others_only_with_a_token(tmp_path: Path) -> None:
    """Bound to all addresses it does not start before there is a token."""
    daemon = RunningDaemon(tmp_path, free_port())
    daemon.config.write_text(
        daemon.config.read_text().replace("[server]", '[server]\nhost="0.0.0.0"')
    )

    assert "dewkeep token new --scope operate" in refused(daemon)


def test_a_data_folder_that_is_none_is_told(tmp_path: Path) -> None:
    """The database's path is named, with what to check."""
    daemon = RunningDaemon(tmp_path, free_port())
    text = daemon.config.read_text().replace('"dewkeep.db"', '"nowhere/dewkeep.db"')
    daemon.config.write_text(text)

    assert "nowhere/dewkeep.db: cannot be opened" in refused(daemon)


def test_a_file_that_is_no_database_is_kept(tmp_path: Path) -> None:
    """A damaged database is refused, told how to restore, and left as it is."""
    daemon = RunningDaemon(tmp_path, free_port())
    (tmp_path / "dewkeep.db").write_bytes(b"not a database " * 1000)

    assert "damaged or no dewkeep database" in refused(daemon)
    assert (tmp_path / "dewkeep.db").read_bytes() == b"not a database " * 1000


def test_a_wrong_password_at_the_broker(tmp_path: Path) -> None:
    """It stays up, is not ready, and says what to check."""
    users = tmp_path / "users"
    users.write_text("")
    users.chmod(0o600)
    (tmp_path / "secret").write_text("wrong")
    broker = Mosquitto(tmp_path, [f"password_file {users}"]).start()
    daemon = RunningDaemon(tmp_path, broker.port)
    text = daemon.config.read_text()
    text = text.replace("[broker]", '[broker]\nusername = "keeper"\npassword_file = "secret"')
    daemon.config.write_text(text)
    try:
        daemon.start()
        ready = daemon.http.get("/readyz")

        assert ready.status_code == 503
        assert "broker.password_file" in ready.json()["broker"]["says"]
        assert daemon.http.get("/healthz").status_code == 200
    finally:
        daemon.close()
        broker.stop()


def test_it_stops_while_somebody_listens(daemon: RunningDaemon) -> None:
    """SIGTERM with an open event stream ends stream and process, with exit code 0."""
    listening = threading.Event()

    def listen() -> None:
        with httpx.stream(
            "GET", f"http://127.0.0.1:{daemon.http_port}/api/v1/events", timeout=60
        ) as stream:
            listening.set()
            for _line in stream.iter_lines():
                pass

    listener = threading.Thread(target=listen)
    listener.start()
    assert listening.wait(10)

    assert daemon.stop() == 0
    listener.join(10)
    assert not listener.is_alive()


def test_the_embedded_broker(tmp_path: Path) -> None:
    """With `embedded = true` nothing else is needed."""
    port = free_port()
    daemon = RunningDaemon(tmp_path, port)
    daemon.config.write_text(
        daemon.config.read_text().replace("[broker]", "[broker]\nembedded=true")
    )
    try:
        daemon.start()
        daemon.wait_ready()
        with Publisher(port) as probe:
            probe.send("dewkeep/cork-cube/canopy", senml(1_795_600_000, 21.0, 70.0))
            eventually(
                lambda: "humidity" in daemon.get("/enclosures/cork-cube/climate")["probes"][0],
                "the reading",
            )
    finally:
        daemon.close()


@pytest.mark.slow
def test_the_demo_tells_its_story(tmp_path: Path) -> None:
    """Nine days of history, a mister that failed last night with its cause, then live readings."""
    port = free_port()
    with (tmp_path / "log").open("w") as log:
        demo = subprocess.Popen(
            [
                *(sys.executable, "-m", "monitor", "demo"),
                *("--days", "9", "--port", str(port), "--speed", "60"),
            ],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        )
    assert demo.stdout is not None
    try:
        lines = iter(demo.stdout.readline, "")
        assert any(f"ready on http://127.0.0.1:{port}" in line for line in lines)
        with httpx.Client(base_url=f"http://127.0.0.1:{port}/api/v1", timeout=20) as http:

            def causes() -> list[str]:
                alarms = http.get("/alarms", params={"enclosure": "cork-cube"}).json()
                return [a["cause"]["kind"] for a in alarms if a["cause"] is not None]

            def newest() -> str:
                at: str = http.get("/enclosures/cork-cube/climate").json()["probes"][0]["at"]
                return at

            assert set(eventually(causes, "the explained crash")) == {"drying"}
            before = newest()
            eventually(lambda: newest() > before, "a live reading")
            assert http.get("/health").json()["rejected"]["counts"] == {}
    finally:
        demo.terminate()
        assert demo.wait(20) == 0
        demo.stdout.close()
