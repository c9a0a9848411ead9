"""The simulated room's reports as the messages its devices would publish."""

import json
from collections.abc import Iterator
from typing import NamedTuple

from monitor.simulation import Event, Record

MISTED = "misted"


class Report(NamedTuple):
    """One message, and when it is published."""

    at_ms: int
    topic: str
    payload: bytes


def reports(record: Record) -> list[Report]:
    """Everything that is published in a stretch of simulated time, in order."""
    readings = [
        Report(
            message.at_ms,
            f"dewkeep/{message.owner}/{message.probe}",
            json.dumps(
                [
                    {
                        "bt": message.at_ms / 1000,
                        "n": "temperature",
                        "u": "Cel",
                        "v": message.temperature,
                    },
                    {"n": "humidity", "u": "%RH", "v": message.humidity},
                ]
            ).encode(),
        )
        for message in record.messages()
    ]
    probe_of = dict(record.readings.keys())
    mistings = [
        report
        for event in record.events
        if event.kind == MISTED
        for report in _misting(event, probe_of[event.owner])
    ]
    return sorted(readings + mistings)


def _misting(event: Event, probe: str) -> Iterator[Report]:
    """A mister that hangs on the same board as a probe says when it starts and when it stops."""
    end_ms = event.at_ms + round(1000 * float(event.detail["seconds"]))
    for at_ms, on in ((event.at_ms, True), (end_ms, False)):
        payload = json.dumps([{"n": "mister", "t": at_ms / 1000, "vb": on}]).encode()
        yield Report(at_ms, f"dewkeep/{event.owner}/{probe}", payload)
