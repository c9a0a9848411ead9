"""The hours in which a channel is not to wake anyone."""

import datetime as dt
from typing import Self
from zoneinfo import ZoneInfo

from pydantic import Field, model_validator

from monitor.documents.base import Model, TimeOfDay
from monitor.documents.problems import faults
from monitor.setup.priority import PriorityName, urgent_enough
from monitor.setup.timezones import TimeZone


class QuietHours(Model):
    """From one time of day to another, by the clock on the wall of a time zone.

    What the clock shows decides at every instant: an hour that it skips in spring is over in no
    time, one that it shows twice in autumn counts twice.
    """

    start: TimeOfDay = Field(alias="from")
    """When they begin."""
    end: TimeOfDay = Field(alias="to")
    """When they end; before ``from``, they span midnight."""
    below: PriorityName = "critical"
    """What is less urgent than this waits until they end."""
    timezone: TimeZone
    """The time zone of the clock, as in the IANA list."""

    @model_validator(mode="after")
    def _lasts(self) -> Self:
        if self.start == self.end:
            raise faults([(("to",), "is the time of from; leave the quiet hours out")])
        if self.below == "advice":
            raise faults([(("below",), "nothing is less urgent than advice")])
        return self

    def hold(self, priority: str, at_ms: int) -> bool:
        """Whether something of a priority has to wait at a time."""
        if urgent_enough(priority, self.below):
            return False
        now = dt.datetime.fromtimestamp(at_ms / 1000, ZoneInfo(self.timezone)).time()
        if self.start < self.end:
            return self.start <= now < self.end
        return now >= self.start or now < self.end
