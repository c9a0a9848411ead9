"""What is remembered of each series, and what is known again after a start."""

import numpy as np
import pytest

from monitor.judge import Memory, Rules, judge
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.judging import JudgeSettings
from monitor.store.readings import Latest, Readings
from monitor.times import MINUTE_MS

NOW_MS = 1_796_000_000_000
RULES = Rules.compiled({0: Quantity.TEMPERATURE}, {}, JudgeSettings())


def next_reason(memory: Memory, value: float, at_ms: int = NOW_MS) -> list[Reason]:
    """How the next reading of series 0 is judged; empty if it is dropped as a repeat."""
    batch = Readings(
        np.array([0], np.int64),
        np.array([at_ms], np.int64),
        np.array([value], np.float64),
        np.zeros(1, np.uint8),
    )
    return [Reason(code) for code in judge(RULES, memory, batch, NOW_MS).readings.reason]


@pytest.mark.parametrize(
    ("latest", "value", "expected"),
    [
        pytest.param(Reason.OK, 20.1, [Reason.OK], id="within reach of the last value"),
        pytest.param(Reason.OK, 50.0, [Reason.STEP], id="a jump from the last value"),
        pytest.param(Reason.OK, 20.0, [Reason.OK], id="a run begins anew"),
        pytest.param(Reason.FLAT, 20.0, [Reason.FLAT], id="a flat line goes on"),
        pytest.param(Reason.FLAT, 20.1, [Reason.OK], id="or ends"),
        pytest.param(Reason.STEP, 50.0, [Reason.OK], id="a jump is no level to judge by"),
        pytest.param(Reason.FUTURE, 50.0, [Reason.OK], id="nor is a reading out of time"),
    ],
)
def test_judging_goes_on_after_a_start(
    latest: Reason, value: float, expected: list[Reason]
) -> None:
    """The store's newest reading is what the next one is judged by."""
    memory = Memory.recalled({0: Latest(NOW_MS - MINUTE_MS, 20.0, latest)}, RULES)

    assert next_reason(memory, value) == expected


def test_a_redelivery_after_a_start_is_a_repeat() -> None:
    """The newest stored time is known again, whatever its reason, except a replaced time."""
    for reason in (Reason.OK, Reason.STEP, Reason.FLAT):
        memory = Memory.recalled({0: Latest(NOW_MS, 20.0, reason)}, RULES)
        assert next_reason(memory, 20.0) == []
    memory = Memory.recalled({0: Latest(NOW_MS, 20.0, Reason.FUTURE)}, RULES)
    assert next_reason(memory, 20.0) == [Reason.OK]


def test_memory_has_room_for_rules_and_readings() -> None:
    """A recalled memory covers every series that is set up and every one that is stored."""
    assert len(Memory.recalled({}, RULES)) == 1
    rules = Rules.compiled({0: Quantity.TEMPERATURE, 7: Quantity.HUMIDITY}, {}, JudgeSettings())
    assert len(Memory.recalled({9: Latest(NOW_MS, 20.0, Reason.OK)}, rules)) == 10


def test_growing_keeps_what_is_known() -> None:
    """New series get a blank row; the others keep theirs, and memory never shrinks."""
    memory = Memory.recalled({0: Latest(NOW_MS - MINUTE_MS, 20.0, Reason.OK)}, RULES)

    memory.grow(3)
    memory.grow(2)

    assert len(memory) == 3
    assert next_reason(memory, 50.0) == [Reason.STEP]
    assert memory.rows[1:].tobytes() == Memory(2).rows.tobytes()
