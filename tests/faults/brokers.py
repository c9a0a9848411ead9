"""The broker, and the line to it: away, hanging, slow, cut."""

import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.setup.alarming import AlarmSettings
from tests.faults.line import Line
from tests.faults.scale import Scale, Skipped
from tests.faults.scene import Scene, Story, ready_says
from tests.faults.tally import Tally
from tests.support.servers import Mosquitto, program, shipped_persistence
from tests.support.waiting import eventually


def unreachable(folder: Path, scale: Scale) -> Tally:
    """Away for a good while; the devices keep what they have."""
    scene = Scene(folder, Story.until(time.time(), scale.of(2, 6)))
    away_s = scale.away_s or scale.of(4, 120)
    with scene.stream(2.0, (0.0, 0.5)):
        pass
    scene.broker.stop()
    eventually(lambda: not ready_says(scene.daemon)["ready"], "the loss is told")
    time.sleep(away_s)
    assert scene.daemon.http.get("/healthz").status_code == 200
    scene.broker.start()
    with scene.stream(2.0, (0.5, 1.0)):
        pass
    scene.settle()
    told = away_s > AlarmSettings().broker_on_delay_s
    notes = ["`/readyz` says so, `/healthz` stays 200", *["one alarm says that it is gone"] * told]
    return scene.account(f"broker unreachable for {away_s:,} s", *notes, broker_alarms=int(told))


def hanging(folder: Path, scale: Scale) -> Tally:
    """Stopped in its tracks: connections stay open and nothing comes."""
    scene = Scene(folder, Story.until(time.time(), scale.of(2, 8)))
    hangs_s = scale.of(3, 90)
    with scene.stream(3.0):
        time.sleep(1)
        scene.broker.freeze()
        time.sleep(hangs_s)
        told = "" if ready_says(scene.daemon)["ready"] else "`/readyz` says so"
        scene.broker.thaw()
    scene.settle()
    return scene.account(f"broker hangs for {hangs_s} s", *([told] if told else []))


def slow(folder: Path, scale: Scale) -> Tally:
    """A line that lets a few hundred bytes through at a time, packets cut anywhere."""
    (folder / "broker").mkdir()
    broker = Mosquitto(folder / "broker", shipped_persistence()).start()
    with Line(broker.port, chunk=197, pause_s=0.004) as line:
        scene = Scene(
            folder, Story.until(time.time(), scale.of(2, 8)), broker=broker, broker_port=line.port
        )
        with scene.stream(scale.of(4, 30)):
            pass
        scene.settle(300)
        return scene.account("a slow line that cuts packets anywhere (197 bytes every 4 ms)")


def cut(folder: Path, scale: Scale) -> Tally:
    """The network between daemon and broker goes down and up, the devices' stays."""
    cuts, down_s = scale.of(1, 2), scale.of(5, 70)
    with network() as (wrap, to_daemon, to_devices):
        (folder / "broker").mkdir()
        broker = NamespacedMosquitto(folder / "broker", wrap, (to_daemon, to_devices)).start()
        assert isinstance(broker, NamespacedMosquitto)
        scene = Scene(
            folder,
            Story.until(time.time(), scale.of(2, 10)),
            broker=broker,
            dress=lambda daemon: daemon.set_broker_host(to_daemon),
            device_host=to_devices,
        )
        with scene.stream(float(cuts * (down_s + 3))):
            for _ in range(cuts):
                time.sleep(2)
                _ip("link", "set", "dk-daemon", "down")
                time.sleep(down_s)
                _ip("link", "set", "dk-daemon", "up")
        scene.settle()
        return scene.account(f"network to the broker cut {cuts} times for {down_s} s")


class NamespacedMosquitto(Mosquitto):
    """A broker in a network namespace of its own, reached by two lines."""

    def __init__(self, folder: Path, wrap: list[str], hosts: tuple[str, ...]) -> None:
        super().__init__(folder, shipped_persistence())
        text = self._config.read_text()
        first = f"listener {self.port} 127.0.0.1"
        self._config.write_text(
            text.replace(first, "\n".join(f"listener {self.port} {host}" for host in hosts))
        )
        self._host = hosts[0]
        self._wrap = wrap


@contextmanager
def network() -> Iterator[tuple[list[str], str, str]]:
    """A namespace, how to run something in it, and its two addresses."""
    lines = {"dk-daemon": "10.84.20.", "dk-device": "10.84.21."}
    try:
        _ip("netns", "add", "dk-broker")
    except (OSError, subprocess.CalledProcessError) as exc:
        raise Skipped("no network namespace can be made here (it takes root)") from exc
    try:
        for name, net in lines.items():
            inner = f"{name}-in"
            _ip("link", "add", name, "type", "veth", "peer", "name", inner)
            _ip("link", "set", inner, "netns", "dk-broker")
            _ip("addr", "add", f"{net}1/24", "dev", name)
            _ip("link", "set", name, "up")
            _ip("-n", "dk-broker", "addr", "add", f"{net}2/24", "dev", inner)
            _ip("-n", "dk-broker", "link", "set", inner, "up")
        to_daemon, to_devices = (f"{net}2" for net in lines.values())
        yield ["ip", "netns", "exec", "dk-broker"], to_daemon, to_devices
    finally:
        _ip("netns", "del", "dk-broker")


def _ip(*words: str) -> None:
    subprocess.run([program("ip"), *words], check=True, capture_output=True)
