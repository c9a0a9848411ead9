"""How readings are judged: thresholds a keeper can change. docs/judging.md explains each rule."""

from collections.abc import Iterable

from pydantic import Field, field_validator

from monitor.quantities import MEASURED, Quantity
from monitor.setup.models import Model


class JudgeSettings(Model):
    """When a reading is not believed. The defaults are common practice, no source."""

    future_s: float = Field(default=300.0, ge=0, le=86_400)
    """A time further ahead than this is wrong: the reading is kept under its arrival time."""
    percent_slack: float = Field(default=5.0, ge=0, le=20)
    """How far a percentage may stray outside 0 to 100; it is then taken for 0 or 100.

    A wet humidity sensor at its tolerance reads 100 to 105 in saturated air and is not broken.
    """
    max_step: dict[Quantity, float] = Field(default_factory=dict)
    """The largest believable change within a minute, where the built-in one does not fit."""
    confirm_s: float = Field(default=300.0, ge=0, le=3_600)
    """A jump is believed after all if the next reading within this time stays near the new value.

    Near is a quarter of the largest believable change.
    """
    flat_after_h: float = Field(default=6.0, gt=0, le=168)
    """A value that has not moved at all for this long comes from a sensor that hangs."""
    flat_readings: int = Field(default=20, ge=2, le=10_000)
    """So many readings must be the same before that is said."""
    flat_quantities: frozenset[Quantity] = frozenset({Quantity.TEMPERATURE, Quantity.HUMIDITY})
    """The quantities that never stand still while their sensor works."""
    saturated_above: float = Field(default=99.0, ge=90, le=100)
    """From this relative humidity on, %RH, standing still is no fault: saturated air does."""

    @field_validator("max_step")
    @classmethod
    def _steps_make_sense(cls, value: dict[Quantity, float]) -> dict[Quantity, float]:
        _check_measured(value)
        for quantity, step in value.items():
            if step <= 0:
                raise ValueError(f"{quantity}: {step:g} would suspect every change; be generous")
        return value

    @field_validator("flat_quantities")
    @classmethod
    def _flat_ones_are_measured(cls, value: frozenset[Quantity]) -> frozenset[Quantity]:
        _check_measured(value)
        return value


def _check_measured(quantities: Iterable[Quantity]) -> None:
    for quantity in quantities:
        if quantity not in MEASURED:
            raise ValueError(f"{quantity} is derived and not judged; {', '.join(MEASURED)} are")
