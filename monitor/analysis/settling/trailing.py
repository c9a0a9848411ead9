"""Criteria that look back over the most recent days, one value for each day."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.analysis.settling.build import Floats
from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import Days
from monitor.analysis.settling.wording import count
from monitor.quantities import Quantity
from monitor.species.ranges import Zone
from monitor.species.settling import SettlingLimits

USUAL_DAYS = 3
"""Things going on as they do means: each coming day like the median of so many last ones."""

FEWEST_SHARE = 0.7
"""Share of the window's days that must be known."""


@dataclass(frozen=True, slots=True)
class Trailing:
    """Daily values (NaN: unknown), a summary of the latest ``window`` of them, and its test."""

    daily: Floats
    window: int
    summary: Callable[[Floats], float]
    passes: Callable[[float], bool]

    @property
    def value(self) -> float | None:
        """The summary now; None where too few days are known."""
        return self._value(self.daily)

    @property
    def result(self) -> Result:
        """What became of it today."""
        return self._result(self.daily)

    def is_relapse(self, running: int) -> bool:
        """Whether it has failed on each of the last ``running`` days."""
        ends = range(len(self.daily), len(self.daily) - running, -1)
        return all(self._result(self.daily[: max(end, 0)]) is Result.FAIL for end in ends)

    def days_to_go(self) -> int | None:
        """In how many days it will pass if things go on as they do; None if it has, or will not."""
        last = self.daily[-USUAL_DAYS:]
        last = last[~np.isnan(last)]
        if self.result is Result.PASS or not len(last):
            return None
        daily = np.concatenate([self.daily, np.full(self.window, np.median(last))])
        for ahead in range(1, self.window + 1):
            if self._result(daily[: len(self.daily) + ahead]) is Result.PASS:
                return ahead
        return None

    def criterion(
        self,
        name: Name,
        zone: Zone,
        quantity: Quantity,
        unit: str,
        *,
        required: str,
        says: Callable[[float], str],
        days: Days,
        limits: SettlingLimits,
    ) -> Criterion:
        """The criterion this makes; ``says`` puts the value into words."""
        value = self.value
        unknown = f"too few of the last {count(self.window, 'day')} are known"
        return Criterion(
            name=name,
            zone=zone,
            quantity=quantity,
            value=value,
            unit=unit,
            required=required,
            result=self.result,
            says=f"{zone}: {unknown if value is None else says(value)}.",
            earliest=days.ahead(self.days_to_go()),
            relapsed=self.is_relapse(limits.running_days),
        )

    def _value(self, daily: Floats) -> float | None:
        latest = daily[-self.window :]
        latest = latest[~np.isnan(latest)]
        return self.summary(latest) if len(latest) >= FEWEST_SHARE * self.window else None

    def _result(self, daily: Floats) -> Result:
        value = self._value(daily)
        if value is None:
            return Result.UNKNOWN
        return Result.PASS if self.passes(value) else Result.FAIL
