"""When a new build counts as settled: limits that a species, a keeper or the settings can change.

docs/settling.md gives the reason for each default. Where it says *own judgement* there, nobody has
measured it.
"""

from typing import Annotated, Self

from pydantic import BeforeValidator, Field, ValidationError, WithJsonSchema, model_validator

from monitor.documents.base import Model
from monitor.documents.problems import faults, problems
from monitor.quantities import Quantity


class SettlingLimits(Model):
    """What a build must show before its climate and its life count as settled."""

    age_days: int = Field(default=28, ge=7, le=365)
    """Days since it was built, whatever the readings say."""

    coverage: float = Field(default=0.9, gt=0, le=1)
    """Share of the time for which readings must be there, over the days judged."""
    named_gap_h: float = Field(default=2.0, gt=0, le=240)
    """Gaps in the readings at least this long are named."""

    even_days: int = Field(default=21, ge=14, le=120)
    """Days over which the climate must be even."""
    longest_even_days: int = Field(default=42, ge=14, le=120)
    """As many days are looked at where single days differ much and fewer could not tell."""
    running_days: int = Field(default=3, ge=1, le=14)
    """So many days in a row the climate must be found even."""
    trend_temperature_k: float = Field(default=0.1, gt=0, le=2)
    """Largest drift of the daily mean temperature, K per day."""
    trend_humidity_pct: float = Field(default=0.4, gt=0, le=10)
    """Largest drift of the daily mean relative humidity, %RH per day."""
    trend_vapour_pressure_kpa: float = Field(default=0.015, gt=0, le=0.5)
    """Largest drift of the daily mean vapour pressure, kPa per day."""
    trend_risk: float = Field(default=0.01, gt=0, lt=0.5)
    """Accepted chance, on one day, that a build called even drifts by more than that."""
    to_come_humidity_pct: float = Field(default=1.5, gt=0, le=50)
    """Largest change of the daily mean humidity that may still lie ahead, %RH."""
    to_come_risk: float = Field(default=0.01, gt=0, lt=0.5)
    """Accepted chance, on one day, that more than that still lies ahead."""

    recent_days: int = Field(default=7, ge=3, le=60)
    """Days that time in range, daily cycle, stagnation and dry-out are taken from."""
    time_in_range: float = Field(default=0.9, gt=0, le=1)
    """Share of the time to be spent within the range, by day and by night."""
    cycle_temperature_k: float = Field(default=1.0, gt=0, le=10)
    """How far one day's temperature curve may depart from the next, K (root mean square)."""
    cycle_humidity_pct: float = Field(default=6.0, gt=0, le=50)
    """How far one day's humidity curve may depart from the next, %RH (root mean square)."""
    recovery_h: float = Field(default=6.0, gt=0, le=48)
    """Hours within which half of what a misting added must be gone from the air."""
    saturated_from: float = Field(default=97.0, ge=80, le=100)
    """From this relative humidity on air counts as near saturation, %RH."""
    saturated_h: float = Field(default=18.0, gt=0, le=240)
    """Longest stretch the air may stay there, hours."""
    dry_out_days: int = Field(default=6, ge=1, le=60)
    """On so many of the recent days the air must dry as the inhabitants need it."""

    clean_looks: int = Field(default=2, ge=2, le=30)
    """Looks in a row that found no mould."""
    clean_days: int = Field(default=7, ge=1, le=120)
    """Days between the first and the last of them."""
    no_bloom_days: int = Field(default=42, ge=7, le=365)
    """After so many days with looks a build that never showed mould needs not show it any more."""
    look_every_days: int = Field(default=7, ge=1, le=60)
    """A look older than this is no longer news; neither may looks lie further apart."""
    crew_days: int = Field(default=14, ge=1, le=120)
    """Within so many days springtails, isopods and plants must have been seen to do well."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        found = []
        if self.longest_even_days < self.even_days:
            says = f"is less than even_days {self.even_days}; write as many or more"
            found.append((("longest_even_days",), says))
        if self.dry_out_days > self.recent_days:
            says = f"is more than recent_days {self.recent_days}; write as many or fewer"
            found.append((("dry_out_days",), says))
        if found:
            raise faults(found)
        return self

    def trend(self, quantity: Quantity) -> float:
        """The largest drift of a quantity, in its own unit per day."""
        return {
            Quantity.TEMPERATURE: self.trend_temperature_k,
            Quantity.HUMIDITY: self.trend_humidity_pct,
            Quantity.VAPOUR_PRESSURE: self.trend_vapour_pressure_kpa,
        }[quantity]

    def cycle(self, quantity: Quantity) -> float:
        """How far one day's curve of a quantity may depart from the next, in its own unit."""
        return {
            Quantity.TEMPERATURE: self.cycle_temperature_k,
            Quantity.HUMIDITY: self.cycle_humidity_pct,
        }[quantity]


LESS_IS_STRICTER = frozenset(
    {
        "named_gap_h",
        "trend_temperature_k",
        "trend_humidity_pct",
        "trend_vapour_pressure_kpa",
        "trend_risk",
        "to_come_humidity_pct",
        "to_come_risk",
        "cycle_temperature_k",
        "cycle_humidity_pct",
        "recovery_h",
        "saturated_from",
        "saturated_h",
        "look_every_days",
        "crew_days",
    }
)
"""Limits of which the lesser asks more of a build; of all others the greater does."""


def is_stricter(name: str, one: float, other: float) -> bool:
    """Whether one value of a limit asks more of a build than another."""
    return one < other if name in LESS_IS_STRICTER else one > other


def _checked(given: object) -> object:
    """Some limits by name, each held against what ``SettlingLimits`` allows."""
    if not isinstance(given, dict):
        return given
    try:
        SettlingLimits.model_validate(given)
    except ValidationError as exc:
        found = problems(exc, SettlingLimits, given, "")
        raise faults([((each.key,), each.says) for each in found]) from exc
    return given


SomeLimits = Annotated[
    dict[str, float],
    BeforeValidator(_checked),
    WithJsonSchema(SettlingLimits.model_json_schema()),
]
"""Limits that are given in one place, by name; what is left out is said elsewhere."""
