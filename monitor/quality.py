"""How far a reading can be trusted, and why.

A reading is stored with one small reason code; its quality follows from the code:
0 is good, 1 to 15 are suspect (kept, shown, not used for climate alarms), 16 and up are bad
(kept, never used).
"""

from enum import IntEnum, StrEnum

FIRST_BAD = 16


class Quality(StrEnum):
    """The three trusts a reading can have."""

    GOOD = "good"
    SUSPECT = "suspect"
    BAD = "bad"


class Reason(IntEnum):
    """Why a reading has its quality. The numbers are stored: never renumber."""

    OK = 0
    STEP = 1
    FLAT = 2
    FUTURE = 3
    AWAY = 4
    LIMIT = 16

    @property
    def quality(self) -> Quality:
        """The quality that follows from this reason."""
        if self == Reason.OK:
            return Quality.GOOD
        return Quality.SUSPECT if self < FIRST_BAD else Quality.BAD

    @property
    def says(self) -> str:
        """A few words for the keeper."""
        return _SAYS[self]


_SAYS = {
    Reason.OK: "plausible",
    Reason.STEP: "jumped further than air can",
    Reason.FLAT: "has not moved for hours",
    Reason.FUTURE: "carried a time in the future; kept under its arrival time",
    Reason.AWAY: "taken in a salt box, not in its place",
    Reason.LIMIT: "outside what the sensor can measure",
}
