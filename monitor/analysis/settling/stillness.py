"""The criterion that little is still to come: an even climate may yet be far from its end value."""

from dataclasses import dataclass
from functools import cached_property
from math import ceil, inf, log

from monitor.analysis.settling.climate import Daily
from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import Days
from monitor.analysis.settling.running import streak, together
from monitor.analysis.settling.trend import Approach, approach_at
from monitor.analysis.settling.wording import count, signed, topic
from monitor.quantities import Quantity, unit_of
from monitor.species.ranges import Zone
from monitor.species.settling import SettlingLimits


def still_to_come(zone: Zone, daily: Daily, days: Days, limits: SettlingLimits) -> Criterion:
    """Whether the humidity has all but reached its end value, as found on each of the last days."""
    ends = range(len(days), len(days) - limits.running_days, -1)
    approaches = [approach_at(daily, end, limits) for end in ends]
    found = _Found(limits, len(days), approaches[0], [_result(each) for each in approaches])
    quantity = Quantity.HUMIDITY
    return Criterion(
        name=Name.STILL_TO_COME,
        zone=zone,
        quantity=quantity,
        value=-found.now.estimate.value if found.now else None,
        unit=unit_of(quantity),
        required=(
            f"very likely within ±{limits.to_come_humidity_pct:g} %RH, "
            f"on {count(limits.running_days, 'day')} running"
        ),
        result=together(found.results, limits.running_days),
        says=f"{topic(zone, quantity)} {found.says()}.",
        earliest=days.ahead(found.days_to_go()),
        relapsed=streak(found.results, Result.FAIL) == limits.running_days,
    )


def _result(approach: Approach | None) -> Result:
    return approach.result if approach else Result.UNKNOWN


@dataclass(frozen=True)
class _Found:
    """The approach now, and the results of the last days, newest first."""

    limits: SettlingLimits
    days: int
    now: Approach | None
    results: list[Result]

    @cached_property
    def interval(self) -> tuple[float, float]:
        """What the excess over the end value very likely lies between."""
        return self.now.estimate.interval(self.limits.to_come_risk) if self.now else (-inf, inf)

    def says(self) -> str:
        if self.now is None:
            return "has too few whole days yet to tell what is still to come"
        low, high = self.interval
        value, least, most = (
            signed(-each, Quantity.HUMIDITY) for each in (self.now.estimate.value, high, low)
        )
        told = f"has about {value} %RH still to come (very likely between {least} and {most})"
        if self.now.result is Result.PASS:
            running = streak(self.results, Result.PASS)
            return f"{told}: all but there, found on {count(running, 'day')} running"
        return f"{told}; no more than {self.limits.to_come_humidity_pct:g} may be"

    def days_to_go(self) -> int | None:
        """In how many days it could pass; None if it has."""
        running = self.limits.running_days
        passed = streak(self.results, Result.PASS)
        if passed >= running:
            return None
        if passed:
            return running - passed
        if self.now is None:
            return max(1, self.limits.even_days - self.days) + running - 1
        excess = max(map(abs, self.interval)) / self.limits.to_come_humidity_pct
        return max(1, ceil(self.now.tau * log(max(excess, 1.0)))) + running - 1
