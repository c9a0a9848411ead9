"""How soon a keeper must act, as the settings say it."""

from typing import Literal

PriorityName = Literal["critical", "warning", "advice"]

_URGENCY: tuple[PriorityName, ...] = ("critical", "warning", "advice")


def urgent_enough(priority: str, least: PriorityName) -> bool:
    """Whether a priority is ``least`` or more urgent."""
    return priority in _URGENCY[: _URGENCY.index(least) + 1]
