"""Real servers for tests: found on this machine, started on free ports, ended by process id."""

import os
import shutil
import signal
import socket
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.support.waiting import eventually


def free_port() -> int:
    """A TCP port that nothing listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def program(name: str) -> str:
    """The path of an installed server; skips the test without it, fails it in CI."""
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    if found is None:
        message = f"{name} is not installed; tests/run installs it on Debian as root"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return found


def listens(port: int, host: str = "127.0.0.1") -> bool:
    """Whether something accepts connections on a port, by default of this machine."""
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex((host, port)) == 0


def shipped_persistence() -> list[str]:
    """The lines of deploy/mosquitto.conf that say what the broker keeps, and when it saves."""
    kinds = ("persistence ", "autosave_", "max_queued_", "max_inflight_")
    lines = (Path(__file__).parents[2] / "deploy/mosquitto.conf").read_text().splitlines()
    return [line for line in lines if line.startswith(kinds)]


class Mosquitto:
    """A real MQTT broker that can be stopped, killed and started again on the same port."""

    def __init__(self, folder: Path, extra: Sequence[str] = ()) -> None:
        self.port = free_port()
        self._program = program("mosquitto")
        self._config = folder / "mosquitto.conf"
        self._log = folder / "mosquitto.log"
        self._saved = folder / "mosquitto.db"
        anonymous = not any(line.startswith("password_file") for line in extra)
        self._config.write_text(
            "\n".join(
                [
                    f"listener {self.port} 127.0.0.1",
                    f"allow_anonymous {'true' if anonymous else 'false'}",
                    "max_queued_messages 0",
                    "max_inflight_messages 1000",
                    "persistence true",
                    f"persistence_location {folder}/",
                    "autosave_interval 1",
                    "autosave_on_changes true",
                    "user root" if os.geteuid() == 0 else "",
                    *extra,
                ]
            )
            + "\n"
        )
        self._host = "127.0.0.1"
        self._wrap: list[str] = []
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        """The process id."""
        assert self._process is not None
        return self._process.pid

    def start(self) -> "Mosquitto":
        """Start it and wait until it accepts connections."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [*self._wrap, self._program, "-c", str(self._config)], stdout=log, stderr=log
            )
        eventually(
            lambda: listens(self.port, self._host), f"mosquitto listening ({self._log.read_text()})"
        )
        return self

    def saved(self) -> bytes:
        """What it would go on from if it ended now."""
        return self._saved.read_bytes() if self._saved.exists() else b""

    def forget(self) -> None:
        """While it is not running: lose all that it had saved."""
        self._saved.unlink(missing_ok=True)

    def stop(self) -> None:
        """Stop it in good order; it saves its sessions."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None

    def freeze(self) -> None:
        """Let it do nothing any more, connections open."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def kill(self) -> None:
        """End it as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None
