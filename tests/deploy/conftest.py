"""What a keeper sets up, set up: the shipped broker settings, credentials made by our script."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.servers import Mosquitto, free_port, program

DEPLOY = Path(__file__).parents[2] / "deploy"


class Safe:
    """A folder of credentials, and the script that fills it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def make(self, *words: str) -> str:
        """Run the script; what it prints. Anything but success fails the test."""
        done = self.run(*words)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run the script, whatever comes of it."""
        program("openssl")
        program("mosquitto_passwd")
        return subprocess.run(
            [DEPLOY / "credentials", self.folder, *words], capture_output=True, text=True
        )

    def password(self, name: str) -> str:
        """The password that was made for a user."""
        return (self.folder / f"{name}.secret").read_text().strip()


class ShippedBroker(Mosquitto):
    """mosquitto by deploy/mosquitto.conf as it is, but for ports and folders."""

    def __init__(self, folder: Path, safe: Safe, extra: str = "") -> None:
        super().__init__(folder)
        self.tls_port = free_port()
        text = (DEPLOY / "mosquitto.conf").read_text()
        for shipped, here in (
            ("listener 8883", f"listener {self.tls_port} 127.0.0.1\n{extra}"),
            ("listener 1883 127.0.0.1", f"listener {self.port} 127.0.0.1"),
            ("/etc/mosquitto/credentials", str(safe.folder)),
        ):
            assert shipped in text
            text = text.replace(shipped, here)
        self._config.write_text(f"{text}\nuser root\npersistence_location {folder}/\n")

    @property
    def log(self) -> str:
        """What it has said so far."""
        return self._log.read_text()


@pytest.fixture
def safe(tmp_path: Path) -> Safe:
    """An authority, a broker's certificate, the daemon and one device."""
    safe = Safe(tmp_path / "credentials")
    safe.make("authority")
    safe.make("broker", "localhost", "127.0.0.1")
    safe.make("daemon")
    safe.make("device", "rack", "dewkeep/cork-cube/canopy", "dewkeep/cork-cube/floor")
    return safe


@pytest.fixture
def broker(tmp_path: Path, safe: Safe) -> Iterator[ShippedBroker]:
    """A running broker as it is shipped."""
    folder = tmp_path / "broker"
    folder.mkdir()
    running = ShippedBroker(folder, safe).start()
    assert isinstance(running, ShippedBroker)
    yield running
    running.stop()
