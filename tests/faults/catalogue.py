"""All faults, in the order in which they are told."""

from collections.abc import Callable, Mapping
from pathlib import Path

from tests.faults import brokers, clocks, disks, killed_broker, process, receivers
from tests.faults.scale import Scale
from tests.faults.tally import Tally

Fault = Callable[[Path, Scale], Tally]

FAULTS: Mapping[str, Fault] = {
    "killed": process.killed,
    "terminated": process.terminated,
    "backlog": process.backlog,
    "memory": process.short_of_memory,
    "broker-killed": killed_broker.in_a_row,
    "broker-killed-connected": killed_broker.connected,
    "broker-unreachable": brokers.unreachable,
    "broker-hangs": brokers.hanging,
    "broker-slow": brokers.slow,
    "network-cut": brokers.cut,
    "disk-full": disks.full,
    "disk-read-only": disks.read_only,
    "file-truncated": disks.truncated,
    "file-overwritten": disks.corrupted,
    "page-overwritten": disks.one_page,
    "clock-jumps": clocks.jumping,
    "summer-ends": clocks.summer_ends,
    "summer-begins": clocks.summer_begins,
    "leap-day": clocks.leap_day,
    "webhook-slow": receivers.slow,
    "webhook-hangs": receivers.hanging,
    "webhook-refuses": receivers.refusing,
}
