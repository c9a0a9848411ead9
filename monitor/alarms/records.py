"""What the desk asks to keep as JSON text, for a store that never reads it, and exactly back."""

import msgspec

from monitor.alarms.detection import PointMemory
from monitor.alarms.model import Alarm
from monitor.alarms.suppression import Suppression

_alarm = msgspec.json.Decoder(Alarm)
_memory = msgspec.json.Decoder(PointMemory)
_suppression = msgspec.json.Decoder(Suppression)


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


def dump_suppression(suppression: Suppression) -> str:
    """One suppression as JSON text; it holds its key too."""
    return msgspec.json.encode(suppression).decode()


def load_suppression(text: str) -> Suppression:
    """The suppression that ``dump_suppression`` wrote.

    Raises:
        ValueError: the text is no such suppression.
    """
    return _suppression.decode(text)
