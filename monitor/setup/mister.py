"""What an enclosure's mister can do, and when it may."""

from typing import Literal, Self

from pydantic import Field, model_validator

from monitor.documents.base import Model, TimeOfDay
from monitor.documents.problems import Route, faults

Hours = tuple[TimeOfDay, TimeOfDay]
"""From one time of day to another; it may span midnight."""


class Mister(Model):
    """Limits that a proposed misting schedule keeps to. Nothing drives a mister."""

    shortest_s: float = Field(default=3.0, gt=0, le=3600)
    """Seconds of its shortest run."""
    longest_s: float = Field(default=60.0, gt=0, le=3600)
    """Seconds of its longest run."""
    step_s: float = Field(default=1.0, gt=0, le=60)
    """Seconds by which its timer can be set longer or shorter."""
    most_a_day: int = Field(default=8, ge=1, le=48)
    """Runs a day."""
    apart_min: int = Field(default=30, ge=0, le=1440)
    """Minutes from one run to the next."""
    quiet: tuple[Hours, ...] = ()
    """Hours in which it is not to run, on the enclosure's clock."""
    lights: Literal["any", "on", "off"] = "any"
    """Whether it runs only while the lights are on, or only while they are off."""
    flow_ml_per_s: float | None = Field(default=None, gt=0, le=1000)
    """Water that its nozzles spray."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        found: list[tuple[Route, str]] = []
        if self.longest_s < self.shortest_s:
            says = f"must be at least shortest_s, which is {self.shortest_s:g}"
            found.append((("longest_s",), says))
        for number, (start, end) in enumerate(self.quiet):
            if start == end:
                says = "begins and ends at the same time; write two different ones"
                found.append((("quiet", number), says))
        if found:
            raise faults(found)
        return self
