"""Alarms and point memories as JSON text, for a store that never reads it, and exactly back."""

import msgspec

from monitor.alarms.detection import PointMemory
from monitor.alarms.model import Alarm

_alarm = msgspec.json.Decoder(Alarm)
_memory = msgspec.json.Decoder(PointMemory)


def dump_alarm(alarm: Alarm) -> str:
    """One alarm as JSON text."""
    return msgspec.json.encode(alarm).decode()


def load_alarm(text: str) -> Alarm:
    """The alarm that ``dump_alarm`` wrote.

    Raises:
        ValueError: the text is no such alarm.
    """
    return _alarm.decode(text)


def dump_memory(memory: PointMemory) -> str:
    """What is remembered of a point, as JSON text."""
    return msgspec.json.encode(memory).decode()


def load_memory(text: str) -> PointMemory:
    """The memory that ``dump_memory`` wrote.

    Raises:
        ValueError: the text is no such memory.
    """
    return _memory.decode(text)
