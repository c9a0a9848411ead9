"""What a rehearsal came to, as the API tells it."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.outcome import CHANGED, MOST_LISTED, RAISED, UNCHANGED, Outcome, wire
from monitor.alarms.reckoning import Doubt, Judged
from monitor.quantities import Quantity
from monitor.setup.models import Correction, Enclosure, Probe, Zone
from monitor.setup.nights import nights_within
from monitor.times import HOUR_MS, MINUTE_MS, parse_rfc3339

START_MS = parse_rfc3339("2026-11-24T12:00:00Z")
END_MS = START_MS + 48 * HOUR_MS
CUBE = Enclosure(
    id="cube", name="Cube", timezone="Europe/Berlin", probe=(Probe(id="canopy", zone=Zone.CANOPY),)
)


def judged(
    hour: float, doubt: Doubt | None = None, priority: Priority = Priority.WARNING
) -> Judged:
    """An alarm that called, so many hours into the span, for an hour."""
    point = PointKey("cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
    raised_ms = START_MS + round(hour * HOUR_MS)
    found = Alarm(
        id=f"{point}.{raised_ms}",
        point=point,
        zone=Zone.CANOPY,
        priority=priority,
        state=State.RETURNED,
        since_ms=raised_ms - 20 * MINUTE_MS,
        raised_at_ms=raised_ms,
        value=66.0,
        limit=70.0,
        extreme=64.0,
        returned_at_ms=raised_ms + 40 * MINUTE_MS,
        called_at_ms=raised_ms,
    )
    return Judged(found, doubt, HOUR_MS)


SETS = {RAISED: [judged(10)], UNCHANGED: [judged(10.01), judged(20, Doubt.LIGHTS)]}
OUTCOME = Outcome(
    enclosure=CUBE,
    changed=None,
    start_ms=START_MS,
    end_ms=END_MS,
    nights=nights_within(CUBE, START_MS, END_MS),
    sets=SETS,
    readings=5760,
    first_ms=START_MS,
    unheard=(),
    watched=True,
)


def test_the_figures_of_each_set() -> None:
    """Calls, by night and a night, and the longest, for what was and what would have been."""
    told: Any = wire(OUTCOME)

    assert told["nights"] == 2
    assert told["raised"] | {"list": 0} == {
        "alarms": 1,
        "calls": 1,
        "calls_at_night": 1,
        "calls_per_night": 0.5,
        "critical": 0,
        "look_false": 0,
        "longest": {"id": judged(10).alarm.id, "minutes": 60},
        "list": 0,
    }
    assert told["unchanged"]["look_false"] == 1
    assert told["difference"] == {
        "between": ["raised", "unchanged"],
        "kept": 1,
        "gone": [],
        "new": [judged(20).alarm.id],
    }
    assert told["by_night"][0] == {
        "date": "2026-11-25",
        "from": "2026-11-24T19:00:00Z",
        "to": "2026-11-25T07:00:00Z",
        "raised": 1,
        "unchanged": 1,
    }


def test_an_alarm_that_never_was_has_no_state() -> None:
    """It is told with its sentence by the enclosure's clock, without what keepers do."""
    told: Any = wire(OUTCOME)
    first = told["unchanged"]["list"][1]

    assert first["raised_at"] == "2026-11-25T08:00:00Z"
    assert "from 08:40 to 09:40 on 25 Nov" in first["says"]
    assert (first["called"], first["looks_false"], first["minutes"]) == (True, "lights", 60)
    assert not {"state", "acknowledged_at", "shelved_until"} & set(first)


def test_the_sentence_to_decide_by() -> None:
    """How many calls with and without the change, what comes, what goes, what looks false."""
    changed = replace(OUTCOME, changed=CUBE, sets=SETS | {CHANGED: [judged(20)]})

    assert wire(OUTCOME)["says"] == (
        "The set-up as it is would have given 2 calls in 2 nights and the days between; "
        "the record holds 1: 1 the same, 0 gone, 1 new. "
        "Of these at night: 1; looking false: 1; critical: 0."
    )
    assert str(wire(changed)["says"]).startswith(
        "With the change there would have been 1 call in 2 nights and the days between, without "
        "it 2: 1 the same, 1 gone, 0 new."
    )


@pytest.mark.parametrize(
    ("outcome", "note"),
    [
        (
            replace(OUTCOME, first_ms=START_MS + 5 * HOUR_MS),
            "Readings begin at 18:00 on 2026-11-24",
        ),
        (replace(OUTCOME, unheard=("floor", "warm")), "No readings of floor, warm."),
        (replace(OUTCOME, watched=False), "only silence is watched"),
        (replace(OUTCOME, sets=SETS | {RAISED: []}), "Imported readings raise none"),
        (replace(OUTCOME, changed=CUBE), "nothing is different"),
        (
            replace(
                OUTCOME,
                changed=CUBE.model_copy(
                    update={
                        "probe": (
                            Probe(
                                id="canopy",
                                zone=Zone.CANOPY,
                                calibration={Quantity.HUMIDITY: Correction(offset=2)},
                            ),
                        )
                    }
                ),
            ),
            "A changed calibration is not rehearsed",
        ),
        (
            replace(OUTCOME, sets=SETS | {RAISED: [judged(10)] * (MOST_LISTED + 1)}),
            f"only the newest {MOST_LISTED} alarms are listed",
        ),
    ],
)
def test_what_limits_the_answer_is_told(outcome: Outcome, note: str) -> None:
    """Everything one must know before trusting the figures stands in the notes."""
    told: Any = wire(outcome)

    assert wire(OUTCOME)["notes"] == []
    assert len(told["notes"]) == 1
    assert note in told["notes"][0]
    assert len(told["raised"]["list"]) <= MOST_LISTED


def test_without_readings_it_says_so_and_no_more() -> None:
    """No figures of nothing are explained."""
    told = wire(replace(OUTCOME, readings=0, first_ms=None, unheard=("canopy",)))

    assert told["says"] == "Nothing was recorded in this span, so there is nothing to rehearse."
    assert told["notes"] == []
