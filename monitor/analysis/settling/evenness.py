"""The criterion of an even climate: its trend shown to be small, on several days running."""

from dataclasses import dataclass
from functools import cached_property
from math import ceil, inf, log

from monitor.analysis.settling.climate import Daily
from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import Days
from monitor.analysis.settling.running import streak, together
from monitor.analysis.settling.trend import Trend, time_constant_at, trend_at
from monitor.analysis.settling.wording import count, difference, signed, topic
from monitor.quantities import Quantity, unit_of
from monitor.species.ranges import Zone
from monitor.species.settling import SettlingLimits

USUAL_TAU = 20.0
"""Days in which a change dies away to a third, where the record does not tell."""

FORESEEN_DAYS = 120
"""Further ahead nothing is foretold."""


def evenness(
    zone: Zone, quantity: Quantity, daily: Daily, days: Days, limits: SettlingLimits
) -> Criterion:
    """Whether the daily means of a quantity have been even, as found on each of the last days."""
    ends = range(len(days), len(days) - limits.running_days, -1)
    trends = [trend_at(daily, end, quantity, limits) for end in ends]
    found = _Found(quantity, daily, limits, trends[0], [_result(each) for each in trends])
    return Criterion(
        name=Name.EVENNESS,
        zone=zone,
        quantity=quantity,
        value=found.now.estimate.value if found.now else None,
        unit=f"{unit_of(quantity)}/d",
        required=(
            f"very likely within ±{found.limit:g} {difference(quantity)} a day, "
            f"on {count(limits.running_days, 'day')} running"
        ),
        result=together(found.results, limits.running_days),
        says=f"{topic(zone, quantity)} {found.says()}.",
        earliest=days.ahead(found.days_to_go()),
        relapsed=streak(found.results, Result.FAIL) == limits.running_days,
    )


def _result(trend: Trend | None) -> Result:
    return trend.result if trend else Result.UNKNOWN


@dataclass(frozen=True)
class _Found:
    """The trend now, and the results of the last days, newest first."""

    quantity: Quantity
    daily: Daily
    limits: SettlingLimits
    now: Trend | None
    results: list[Result]

    @property
    def limit(self) -> float:
        return self.limits.trend(self.quantity)

    @cached_property
    def interval(self) -> tuple[float, float]:
        """What the slope very likely lies between."""
        return self.now.estimate.interval(self.limits.trend_risk) if self.now else (-inf, inf)

    @property
    def missing_days(self) -> int:
        """Days that the record is too short by."""
        needed = self.now.needed if self.now else self.limits.even_days
        return max(0, needed - len(self.daily.value))

    def says(self) -> str:
        unit = difference(self.quantity)
        if self.now is None:
            return (
                f"has too few whole days yet; {self.limits.even_days} are needed to tell a drift "
                "from chance"
            )
        low, high = (signed(each, self.quantity) for each in self.interval)
        drift = f"drifts by {signed(self.now.estimate.value, self.quantity)} {unit} a day"
        told = f"{drift} (very likely between {low} and {high})"
        if self.now.result is Result.FAIL:
            return f"{told}, which is more than ±{self.limit:g}"
        if self.now.result is Result.PASS:
            running = streak(self.results, Result.PASS)
            return f"{told}: even, found on {count(running, 'day')} running"
        if self.missing_days:
            return (
                f"{told}; its days differ so much that {self.now.needed} of them are needed to tell"
            )
        if abs(self.now.plain) > self.limit:
            plain = signed(self.now.plain, self.quantity)
            return (
                f"moves with the room by {plain} {unit} a day, which is more than ±{self.limit:g}"
            )
        unsure = f"{told}, which may yet be more than ±{self.limit:g}"
        if len(self.daily.beside):
            return unsure
        return f"{unsure}; a probe in the room would tell its weather from the build"

    def days_to_go(self) -> int | None:
        """In how many days it could pass; None if it has, and if time alone will not do it.

        A slope is taken to die away as the approach does that fits the record best; the width of
        its interval stays.
        """
        limits = self.limits
        passed = streak(self.results, Result.PASS)
        if passed >= limits.running_days:
            return None
        more_looks = limits.running_days - 1
        if passed:
            return limits.running_days - passed
        if self.now is None or self.missing_days:
            return max(1, self.missing_days) + more_looks
        low, high = self.interval
        slack = self.limit - 0.5 * (high - low)
        if slack <= 0:
            return None
        tau = time_constant_at(self.daily, len(self.daily.value), self.quantity, limits)
        excess = max(abs(self.now.estimate.value) / slack, abs(self.now.plain) / self.limit, 1.0)
        ahead = max(1, ceil((tau or USUAL_TAU) * log(excess))) + more_looks
        return ahead if ahead <= FORESEEN_DAYS else None
