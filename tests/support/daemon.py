"""The daemon as a process of its own, as a keeper runs it."""

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx

from monitor.cli import WRONG_INPUT
from tests.support.servers import free_port
from tests.support.waiting import eventually

SETTINGS = """
[server]
port = {http_port}

[broker]
port = {mqtt_port}
client_id = "under-test"

[store]
path = "dewkeep.db"

[setup]
file = "enclosures.toml"
"""

CORK_CUBE = """
[[room]]
id = "back-room"
name = "Back room"

[[room.probe]]
id = "air"

[[enclosure]]
id = "cork-cube"
name = "Cork cube"
room = "back-room"
timezone = "Europe/Lisbon"

[[enclosure.probe]]
id = "canopy"
zone = "canopy"
period_s = 30

[enclosure.range.canopy]
day = { temperature = [22, 26], humidity = [60, 80] }
night = { temperature = [20, 24], humidity = [60, 95] }
critical = { temperature = [10, 32], humidity = [35, 100] }
"""


class RunningDaemon:
    """`dewkeep serve` over a folder with settings, set-up and database."""

    def __init__(
        self, folder: Path, mqtt_port: int, *, setup: str = CORK_CUBE, more: str = ""
    ) -> None:
        self.folder = folder
        self.http_port = free_port()
        self.config = folder / "dewkeep.toml"
        self.config.write_text(
            SETTINGS.format(http_port=self.http_port, mqtt_port=mqtt_port) + more
        )
        (folder / "enclosures.toml").write_text(setup)
        self.log = folder / "dewkeep.log"
        self.command: list[str] = [sys.executable, "-m", "monitor"]
        """What runs it; a test may put something around it."""
        self.http = httpx.Client(
            base_url=f"http://127.0.0.1:{self.http_port}",
            timeout=20,
            # A kept connection may be closed by the server in the moment of the next request.
            limits=httpx.Limits(max_keepalive_connections=0),
        )
        self.last_words = ""
        """What it printed at the end."""
        self._process: subprocess.Popen[str] | None = None

    def start(self, **environ: str) -> "RunningDaemon":
        """Start it and wait for its `ready` line."""
        self.begin(**environ)
        host = environ.get("DEWKEEP_SERVER__HOST", "127.0.0.1")
        assert self.printed() == f"ready on http://{host}:{self.http_port}\n", self.log.read_text()
        return self

    def begin(self, **environ: str) -> None:
        """Start it and do not wait."""
        with self.log.open("a") as log:
            self._process = subprocess.Popen(
                [*self.command, "serve", "--config", str(self.config)],
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                env={**os.environ, **environ},
            )

    def printed(self) -> str:
        """The next line on its standard output; empty at the end."""
        assert self._process is not None
        assert self._process.stdout is not None
        return self._process.stdout.readline()

    def refused(self, **environ: str) -> str:
        """What it says on standard error when it does not start; it must end with code 2."""
        self.begin(**environ)
        assert self._process is not None
        assert self._process.wait(20) == WRONG_INPUT, self.log.read_text()
        assert self.printed() == ""
        self._end(signal.SIGTERM)
        return self.log.read_text()

    def set_broker_host(self, host: str) -> None:
        """Before it starts: where the broker is, other than on this machine."""
        text = self.config.read_text()
        self.config.write_text(text.replace("[broker]", f'[broker]\nhost = "{host}"', 1))

    @property
    def pid(self) -> int:
        """The process id."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self) -> int:
        """Ask it to stop; its exit code."""
        return self._end(signal.SIGTERM)

    def _end(self, with_signal: signal.Signals) -> int:
        if self._process is None:
            return 0
        process, self._process = self._process, None
        process.send_signal(with_signal)
        code = process.wait(20)
        assert process.stdout is not None
        self.last_words = process.stdout.read()
        process.stdout.close()
        return code

    def get(self, path: str, **params: Any) -> Any:
        """The JSON of a GET below /api/v1; anything but success fails the test."""
        answer = self.http.get(f"/api/v1{path}", params=params)
        assert answer.is_success, answer.text
        return answer.json()

    def post(self, path: str, body: object = None) -> Any:
        """The JSON of a POST below /api/v1; anything but success fails the test."""
        answer = self.http.post(f"/api/v1{path}", json=body)
        assert answer.is_success, answer.text
        return answer.json()

    def wait_ready(self) -> None:
        """Until /readyz says that readings can come in."""
        eventually(lambda: self.http.get("/readyz").status_code == 200, "ready")

    def close(self) -> None:
        """Stop it and drop connections."""
        self.stop()
        self.http.close()
