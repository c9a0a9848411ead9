"""Real time-series servers for tests: InfluxDB behind nginx, and VictoriaMetrics.

Debian has InfluxDB 1.6, from before the version 2 interface for writing. An nginx in front of it
sends `/api/v2/write?bucket=B` on as `/write?db=B`, which is what later versions do themselves.
"""

import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import httpx

from tests.support.servers import free_port, listens, program
from tests.support.waiting import eventually

INFLUX = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
dir = "{folder}/meta"
[data]
dir = "{folder}/data"
wal-dir = "{folder}/wal"
query-log-enabled = false
cache-snapshot-write-cold-duration = "{cold}"
compact-full-write-cold-duration = "{cold}"
max-concurrent-compactions = 1
[http]
bind-address = "127.0.0.1:{http}"
log-enabled = false
[monitor]
store-enabled = false
[logging]
level = "error"
"""

NGINX = """
daemon off;
master_process off;
pid {folder}/nginx.pid;
error_log {folder}/nginx.log;
events {{}}
http {{
    access_log off;
    client_max_body_size 64m;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    server {{
        listen 127.0.0.1:{port};
        location = /api/v2/write {{
            rewrite ^ /write?db=$arg_bucket&precision=$arg_precision? break;
            proxy_pass http://127.0.0.1:{http};
        }}
        location / {{
            proxy_pass http://127.0.0.1:{http};
        }}
    }}
}}
"""


class Process:
    """A server process over a folder, ended by its id."""

    def __init__(self, command: Sequence[str], log: Path, port: int) -> None:
        self._command, self._log, self._port = command, log, port
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it listens, unless it runs already."""
        if self._process is not None and self._process.poll() is None:
            return
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(self._command, stdout=log, stderr=log)
        eventually(lambda: listens(self._port), f"{self._command[0]} ({self._log.read_text()})")

    @property
    def pid(self) -> int:
        """The process id."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """End it as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None


class Influx:
    """InfluxDB 1.6 with nginx in front; ``url`` takes writes of version 2.

    After ``cold`` without a write it packs what it has for good.
    """

    engine: Literal["influxdb"] = "influxdb"

    def __init__(self, folder: Path, disk: Path | None = None, cold: str = "10m") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        http, port = free_port(), free_port()
        self.disk = disk or folder
        self.url = f"http://127.0.0.1:{port}"
        self._direct = f"http://127.0.0.1:{http}"
        (folder / "influxd.conf").write_text(
            INFLUX.format(folder=self.disk, http=http, rpc=free_port(), cold=cold)
        )
        (folder / "nginx.conf").write_text(NGINX.format(folder=folder, http=http, port=port))
        self._server = Process(
            [program("influxd"), "run", "-config", str(folder / "influxd.conf")],
            folder / "influxd.log",
            http,
        )
        self._front = Process(
            [program("nginx"), "-c", str(folder / "nginx.conf"), "-e", str(folder / "nginx.log")],
            folder / "nginx.log",
            port,
        )

    def start(self) -> "Influx":
        """Start both, or the one that is not running."""
        self._front.start()
        self.revive()
        return self

    def revive(self) -> None:
        """Start the database again on what it has on disk."""
        self._server.start()
        eventually(self._answers, "influxd answering")

    def kill(self) -> None:
        """End the database as a power cut would; nginx stays and answers 502."""
        self._server.kill()

    def create(self, bucket: str) -> None:
        """Make a database."""
        self.query(f'CREATE DATABASE "{bucket}"')

    def query(self, text: str, bucket: str = "") -> bytes:
        """Ask the database directly."""
        answer = httpx.post(f"{self._direct}/query", data={"q": text, "db": bucket}, timeout=20)
        return answer.raise_for_status().content

    def show(self) -> None:
        """What it has accepted can be read at once."""

    @property
    def pid(self) -> int:
        """The process id of the database."""
        return self._server.pid

    def size(self) -> int:
        """Bytes on disk."""
        return folder_size(self.disk / "data") + folder_size(self.disk / "wal")

    def close(self) -> None:
        """End both."""
        self._server.kill()
        self._front.kill()

    def _answers(self) -> bool:
        try:
            self.query("SHOW DATABASES")
        except httpx.HTTPError:
            return False
        return True


class Victoria:
    """VictoriaMetrics, a single node."""

    engine: Literal["victoriametrics"] = "victoriametrics"

    def __init__(self, folder: Path, disk: Path | None = None) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        port = free_port()
        self.disk = disk or folder
        self.url = f"http://127.0.0.1:{port}"
        command = [
            program("victoria-metrics"),
            f"-storageDataPath={self.disk / 'data'}",
            f"-httpListenAddr=127.0.0.1:{port}",
            "-retentionPeriod=100y",
            "-dedup.minScrapeInterval=1ms",
            "-loggerLevel=ERROR",
        ]
        self._server = Process(command, folder / "victoria.log", port)

    def start(self) -> "Victoria":
        """Start it."""
        self._server.start()
        return self

    def revive(self) -> None:
        """Start it again on what it has on disk."""
        self._server.start()

    def kill(self) -> None:
        """End it as a power cut would."""
        self._server.kill()

    def create(self, bucket: str) -> None:
        """There is nothing to make."""

    def show(self) -> None:
        """Have what was accepted found by questions now, not in a second."""
        httpx.get(f"{self.url}/internal/force_flush", timeout=20).raise_for_status()

    @property
    def pid(self) -> int:
        """The process id of the database."""
        return self._server.pid

    def size(self) -> int:
        """Bytes on disk."""
        return folder_size(self.disk / "data")

    def close(self) -> None:
        """End it."""
        self._server.kill()


TimeSeriesServer = Influx | Victoria


def folder_size(folder: Path) -> int:
    """Bytes that all files below a folder take; what was reserved and not used does not count."""
    return sum(512 * file.stat().st_blocks for file in folder.rglob("*") if file.is_file())
