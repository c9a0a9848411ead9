"""Messages to columns."""

import json

from monitor.ingest.intake import Switched, take_in
from monitor.ingest.link import Message
from monitor.ingest.rejects import Reject
from monitor.ingest.roster import Position, Roster
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Setup, Zone
from monitor.setup.settings import Settings
from monitor.store.readings import SeriesKey

SETUP = Setup(
    enclosure=(
        Enclosure(id="cork-cube", name="Cork", probe=(Probe(id="canopy", zone=Zone.CANOPY),)),
    )
)
TOPIC = "dewkeep/cork-cube/canopy"
AT_S = 1_796_000_000
ARRIVAL_MS = 1000 * AT_S + 250


def roster() -> Roster:
    """One probe that has given temperatures so far."""
    known = {SeriesKey("cork-cube", "canopy", Quantity.TEMPERATURE): 7}
    return Roster(SETUP, Settings().source, known)


def message(payload: object, topic: str = TOPIC) -> Message:
    """A message as the link hands it over."""
    return Message(topic, json.dumps(payload).encode(), 1, 1, 1)


def none_new(position: Position, quantity: Quantity) -> int:
    """For batches that hold nothing new."""
    raise AssertionError(f"{position} {quantity} is not new")


def test_a_batch_becomes_columns() -> None:
    """Readings in the order they came, with the ids of their series; switches beside them."""
    asked: list[Quantity] = []

    def new_series(position: Position, quantity: Quantity) -> int:
        asked.append(quantity)
        position.series[quantity] = 8
        return 8

    intake = take_in(
        [
            message([{"bt": AT_S, "n": "humidity", "v": 80}, {"n": "temperature", "v": 22}]),
            message([{"bt": AT_S + 30, "n": "humidity", "v": 81}]),
            message([{"n": "mister", "t": AT_S, "vb": True}]),
        ],
        roster(),
        ARRIVAL_MS,
        new_series,
    )

    assert intake.readings.series.tolist() == [8, 7, 8]
    assert intake.readings.at_ms.tolist() == [1000 * AT_S, 1000 * AT_S, 1000 * (AT_S + 30)]
    assert intake.readings.value.tolist() == [80.0, 22.0, 81.0]
    assert intake.switched == [Switched("cork-cube", "mister", 1000 * AT_S, on=True)]
    assert asked == [Quantity.HUMIDITY]
    assert intake.rejects == []


def test_what_cannot_be_used_is_left_out_with_its_reason() -> None:
    """An unknown topic, a broken payload, one wrong record: the rest of the batch goes in."""
    intake = take_in(
        [
            message([], "dewkeep/attic/canopy"),
            Message(TOPIC, b"{", 1, 1, 1),
            message([{"n": "temperature", "u": "F", "v": 73}, {"n": "temperature", "v": 22}]),
        ],
        roster(),
        ARRIVAL_MS,
        none_new,
    )

    assert intake.readings.value.tolist() == [22.0]
    assert [(each.topic, each.reason) for each in intake.rejects] == [
        ("dewkeep/attic/canopy", "unknown"),
        (TOPIC, "malformed"),
        (TOPIC, "wrong_unit"),
    ]
    assert all(isinstance(each, Reject) and each.at_ms == ARRIVAL_MS for each in intake.rejects)


def test_what_the_broker_kept_counts_only_if_it_says_of_when_it_is() -> None:
    """Else a probe that died weeks ago would report anew, and a mister run, at each connection."""
    new = [{"n": "temperature", "v": 22}, {"n": "mister", "vb": True}]
    old = [{"bt": AT_S - 60, "n": "temperature", "v": 21}, {"n": "mister", "vb": True}]
    kept = [message(each)._replace(retained=True) for each in (old, new)]
    intake = take_in(kept, roster(), ARRIVAL_MS, none_new)

    assert intake.readings.value.tolist() == [21.0]
    assert [each.at_ms for each in intake.switched] == [1000 * (AT_S - 60)]
    assert intake.rejects == []


METER = Settings.model_validate(
    {"source": [{"topic": "meter/{enclosure}/{probe}/{quantity}", "payload": "number"}]}
).source


def dated(*came: tuple[float, str], period_s: float = 60) -> list[tuple[float, str]]:
    """What times (s after the first) bare numbers get that come so many seconds after it."""
    probe = Probe(id="canopy", zone=Zone.CANOPY, period_s=period_s)
    setup = Setup(enclosure=(Enclosure(id="cork-cube", name="Cork", probe=(probe,)),))
    known = {
        SeriesKey("cork-cube", "canopy", quantity): number
        for number, quantity in enumerate((Quantity.TEMPERATURE, Quantity.HUMIDITY), 1)
    }
    one, names = Roster(setup, METER, known), ("", "temperature", "humidity")
    found = []
    for after_s, quantity in came:
        topic, arrival_ms = f"meter/cork-cube/canopy/{quantity}", ARRIVAL_MS + round(1000 * after_s)
        readings = take_in([Message(topic, b"50", 1, 1, 1)], one, arrival_ms, none_new).readings
        found += [
            ((at_ms - ARRIVAL_MS) / 1000, names[series])
            for at_ms, series in zip(readings.at_ms, readings.series, strict=True)
        ]
    return found


def test_temperature_and_humidity_that_come_one_by_one_are_one_measurement() -> None:
    """They get the time of the first, so that what follows from both can be worked out."""
    assert dated((0, "temperature"), (0.4, "humidity"), (60, "temperature"), (70, "humidity")) == [
        (0, "temperature"),
        (0, "humidity"),
        (60, "temperature"),
        (60, "humidity"),
    ]


def test_what_comes_later_or_again_stands_for_itself() -> None:
    """Beyond ten seconds, or a quarter of the period, or repeated: that is another moment."""
    apart = [(0, "temperature"), (10.1, "humidity")]
    again = [(0, "temperature"), (5, "temperature"), (9, "humidity")]
    back = [(0, "temperature"), (-5, "humidity")]

    assert dated(*apart) == apart
    assert dated((0, "temperature"), (4, "humidity"), period_s=15) == [
        (0, "temperature"),
        (4, "humidity"),
    ]
    assert dated(*again) == [(0, "temperature"), (5, "temperature"), (5, "humidity")]
    assert dated(*back) == back


def test_no_messages_are_no_readings() -> None:
    """Empty columns of the right kinds."""
    intake = take_in([], roster(), ARRIVAL_MS, none_new)

    assert len(intake.readings) == 0
    assert intake.readings.at_ms.dtype == "int64"
