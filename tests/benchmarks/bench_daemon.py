"""Measures `dewkeep serve` as a process beside a real mosquitto and a real HTTP receiver.

    python -m tests.benchmarks.bench_daemon [--seconds N]

Start to `ready`, resident memory, bytes written to disk per message, and the time from publishing
a reading to the arrival of the webhook that it causes, at 200 messages per second.
"""

import argparse
import os
import statistics
import tempfile
import threading
import time
from pathlib import Path

import psutil

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto

ENCLOSURES = 50
PROBES = ("canopy", "floor", "warm", "cool")
RATE = 200
STARTS = 5

SETUP = "".join(
    f"""
    [[enclosure]]
    id = "e{n}"
    name = "Enclosure {n}"
    probe = [{", ".join(f'{{ id = "{p}", zone = "{p}", silent_after_s = 86400 }}' for p in PROBES)}]
    range = {{ canopy = {{ day = {{ humidity = [60, 90] }}, night = {{ humidity = [60, 90] }} }} }}
    """
    for n in range(ENCLOSURES)
)
AT_ONCE = "\n[alarms]\non_delay_s = 0\noff_delay_s = 0\n"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=30)
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder).start()
        receiver = Receiver()
        daemon = RunningDaemon(
            folder,
            broker.port,
            setup=SETUP,
            more=f'{AT_ONCE}[[channel]]\nname = "phone"\nkind = "webhook"\n'
            f'url = "{receiver.url}"\nallow_private = true\n',
        )
        try:
            print(f"{ENCLOSURES} enclosures, {ENCLOSURES * len(PROBES)} probes\n")
            print("| what | figure |\n|---|---:|")
            starts = [start_time(daemon) for _ in range(STARTS)]
            print(
                f"| start to ready, median of {STARTS} (first {starts[0]:.2f} s) "
                f"| {statistics.median(starts):.2f} s |"
            )
            daemon.start()
            daemon.wait_ready()
            under_load(daemon, broker.port, receiver, seconds)
        finally:
            daemon.close()
            receiver.close()
            broker.stop()


def start_time(daemon: RunningDaemon) -> float:
    """Seconds from starting the process to its `ready` line."""
    begun = time.perf_counter()
    daemon.start()
    taken = time.perf_counter() - begun
    daemon.stop()
    return taken


def under_load(daemon: RunningDaemon, port: int, receiver: Receiver, seconds: int) -> None:
    """Publish at a steady rate; every tenth message raises an alarm that is told at once."""
    sent: dict[str, float] = {}
    probes = [(f"e{n}", probe) for n in range(ENCLOSURES) for probe in PROBES]
    base = int(time.time()) - seconds * RATE
    written = disk_bytes(daemon.pid)
    delays: list[float] = []
    arrivals = threading.Thread(target=watch, args=(receiver, sent, delays), daemon=True)
    arrivals.start()
    with Publisher(port) as publisher:
        begun = time.perf_counter()
        for n in range(seconds * RATE):
            enclosure, probe = probes[n % len(probes)]
            turn = n // len(probes)
            crash = probe == "canopy" and turn % 2 == 1 and n % 40 == 0
            if crash:
                sent[enclosure] = time.perf_counter()
            publisher.send(
                f"dewkeep/{enclosure}/{probe}",
                senml(base + turn * 10, 23 + turn % 10 / 10, 50.0 if crash else 75.0),
            )
            time.sleep(max(0.0, begun + (n + 1) / RATE - time.perf_counter()))
        publisher.flush()
    time.sleep(1.0)
    count = seconds * RATE
    tails = statistics.quantiles(delays, n=100)
    print(
        f"| written to disk per message of 2 readings, at {RATE}/s "
        f"| {(disk_bytes(daemon.pid) - written) / count / 1024:.1f} KiB |"
    )
    print(
        f"| publish to webhook received, p50 ({len(delays)} alarms) | {1000 * tails[49]:.0f} ms |"
    )
    print(f"| publish to webhook received, p99 | {1000 * tails[98]:.0f} ms |")
    rss = psutil.Process(daemon.pid).memory_info().rss
    print(f"| resident memory after {count} messages | {rss / 2**20:.0f} MiB |")


def watch(receiver: Receiver, sent: dict[str, float], delays: list[float]) -> None:
    """Note how long after its publishing each alarm arrived."""
    seen = 0
    while True:
        for request in receiver.received[seen:]:
            seen += 1
            delays.append(request.at - sent[request.json["enclosure"]])
        time.sleep(0.05)


def disk_bytes(pid: int) -> int:
    """Bytes that a process has caused to be written to storage (Linux)."""
    for line in Path(f"/proc/{pid}/io").read_text().splitlines():
        name, _, value = line.partition(": ")
        if name == "write_bytes":
            return int(value)
    raise OSError(f"no write_bytes for process {pid} on {os.uname().sysname}")


if __name__ == "__main__":
    main()
