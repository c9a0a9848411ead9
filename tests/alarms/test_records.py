"""Alarms, memories and suppressions as text and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.detection import PointMemory
from monitor.alarms.model import Alarm
from monitor.alarms.records import (
    dump_alarm,
    dump_memory,
    dump_suppression,
    load_alarm,
    load_memory,
    load_suppression,
)
from monitor.alarms.suppression import Suppression

st.register_type_strategy(float, st.floats(allow_nan=False, allow_infinity=False))


@given(st.from_type(Alarm))
def test_an_alarm_comes_back_as_it_was(alarm: Alarm) -> None:
    """Every field survives, bit for bit."""
    assert load_alarm(dump_alarm(alarm)) == alarm


@given(st.from_type(PointMemory))
def test_a_memory_comes_back_as_it_was(memory: PointMemory) -> None:
    """Phase, time and extreme survive, bit for bit."""
    back = load_memory(dump_memory(memory))

    assert back == memory
    assert back.phase is memory.phase


@given(st.from_type(Suppression))
def test_a_suppression_comes_back_as_it_was(suppression: Suppression) -> None:
    """Scope, reason, times and who said so survive, and with them its key."""
    back = load_suppression(dump_suppression(suppression))

    assert back == suppression
    assert back.key == suppression.key


def test_a_text_that_is_no_record_is_refused() -> None:
    """A damaged record is an error, not an alarm."""
    with pytest.raises(ValueError, match="missing required field `id`"):
        load_alarm("{}")
    with pytest.raises(ValueError, match="Invalid enum value 'asleep'"):
        load_memory('["asleep", 1]')
    with pytest.raises(ValueError, match="Invalid enum value 'tired'"):
        load_suppression('{"place": "cork-cube", "because": "tired"}')
