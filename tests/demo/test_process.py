"""`dewkeep demo` as a visitor runs it."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from monitor.times import DAY_MS, parse_rfc3339, rfc3339
from tests.support.servers import free_port
from tests.support.waiting import eventually


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[httpx.Client]:
    """A running demo of two days, an hour a minute; stopped in good order."""
    port = free_port()
    words = ["demo", "--days", "2", "--speed", "60", "--port", str(port), "--data", str(tmp_path)]
    with (
        (tmp_path / "demo.log").open("w") as log,
        subprocess.Popen(
            [sys.executable, "-m", "monitor", *words], stdout=subprocess.PIPE, stderr=log, text=True
        ) as process,
    ):
        assert process.stdout is not None
        lines = iter(process.stdout.readline, "")
        ready = next((line for line in lines if line.startswith("ready")), "")
        assert ready == f"ready on http://127.0.0.1:{port}\n", (tmp_path / "demo.log").read_text()
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20) as client:
            yield client
        process.terminate()
        assert process.wait(20) == 0
    assert "Traceback" not in (tmp_path / "demo.log").read_text()


def get(demo: httpx.Client, path: str, **params: Any) -> Any:
    """The JSON of a GET below /api/v1."""
    answer = demo.get(f"/api/v1/{path}", params=params)
    assert answer.is_success, answer.text
    return answer.json()


@pytest.mark.slow
def test_a_visit(demo: httpx.Client) -> None:
    """Ready, with a past, the alarm of the night, and readings that come in live over MQTT."""
    eventually(lambda: demo.get("/readyz").status_code == 200, "ready")
    first = get(demo, "enclosures/cork-cube/climate")
    before = parse_rfc3339(first["probes"][0]["at"])
    past = get(
        demo,
        "enclosures/cork-cube/series",
        probe="canopy",
        quantity="dew_point",
        **{"from": rfc3339(before - 3 * DAY_MS)},
    )
    alarms = get(demo, "alarms", enclosure="cork-cube")

    def newest() -> int:
        probe = get(demo, "enclosures/cork-cube/climate")["probes"][0]
        return parse_rfc3339(probe["at"])

    assert [each["id"] for each in get(demo, "enclosures")] == [
        "cork-cube",
        "fern-drawer",
        "river-column",
        "slate-tray",
    ]
    assert past["points"][-1][0] - past["points"][0][0] > 1.9 * DAY_MS
    assert {"probe": "canopy", "quantity": "humidity", "condition": "low"}.items() <= alarms[
        -1
    ].items()
    eventually(lambda: newest() > before + 120_000, "live readings")
    assert get(demo, "health")["rejected"]["counts"] == {}


@pytest.mark.slow
def test_a_port_in_use_is_told_before_the_long_wait(demo: httpx.Client) -> None:
    """At once, without a month of history first."""
    second = subprocess.run(
        [sys.executable, "-m", "monitor", "demo", "--port", str(demo.base_url.port)],
        capture_output=True,
        text=True,
        timeout=60,
    )

    assert second.returncode == 2
    assert "is dewkeep running already?" in second.stderr
    assert "filling in" not in second.stdout


@pytest.mark.slow
def test_stopped_before_it_is_ready_it_leaves_nothing_behind(tmp_path: Path) -> None:
    """Without a folder of the visitor's own, all data goes with the demo."""
    with subprocess.Popen(
        [sys.executable, "-m", "monitor", "demo", "--days", "400", "--port", str(free_port())],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    ) as process:
        eventually(lambda: list(tmp_path.glob("*/demo.db")), "it fills in history")
        process.terminate()
        code = process.wait(20)

    assert code == 128 + signal.SIGTERM
    assert list(tmp_path.iterdir()) == []
