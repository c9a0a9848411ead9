"""What the simulated devices publish."""

import datetime as dt

from monitor.demo.wire import reports
from monitor.ingest.payload.senml import read_any
from monitor.quantities import Quantity
from monitor.simulation import Record, simulate
from monitor.simulation.demo_room import CLOCK, SEED, back_room
from monitor.times import HOUR_MS

NOW_MS = round(dt.datetime(2026, 11, 20, 22, tzinfo=CLOCK).timestamp() * 1000)
ROOM = back_room(NOW_MS, 1)
EVENING_MS = NOW_MS - 26 * HOUR_MS  # 20:00, when the cork cube is misted


def evening() -> Record:
    """An hour with two mistings of the cork cube."""
    return simulate(ROOM.scenario, EVENING_MS - HOUR_MS // 2, EVENING_MS + HOUR_MS, 30.0, SEED)


def test_every_reading_is_on_the_wire_as_simulated() -> None:
    """In order, each on the topic of its probe, in the form that dewkeep reads."""
    record = evening()
    published = reports(record)
    numbers = {
        (report.topic, quantity, at_ms): value
        for report in published
        for quantity, at_ms, value in read_any(report.payload, 0).numbers
    }
    simulated = {
        (f"dewkeep/{message.owner}/{message.probe}", quantity, message.at_ms): value
        for message in record.messages()
        for quantity, value in (
            (Quantity.TEMPERATURE, message.temperature),
            (Quantity.HUMIDITY, message.humidity),
        )
    }

    assert numbers == simulated
    assert len(numbers) > 1_000
    assert [report.at_ms for report in published] == sorted(report.at_ms for report in published)


def test_a_mister_says_when_it_starts_and_when_it_stops() -> None:
    """On the topic of a probe of its enclosure, for as long as it sprayed."""
    switches = [
        switch
        for report in reports(evening())
        if report.topic.startswith("dewkeep/cork-cube/")
        for switch in read_any(report.payload, 0).switches
    ]

    assert [(name, on) for name, _, on in switches] == 2 * [("mister", True), ("mister", False)]
    assert [off[1] - on[1] for on, off in (switches[:2], switches[2:])] == [6_000, 6_000]
