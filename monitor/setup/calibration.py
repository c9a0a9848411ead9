"""Calibration of humidity probes: its settings, and the papers that are kept of each run.

docs/calibration.md explains. Everything of a run is in the probe's *raw* readings, before any
correction.
"""

from enum import StrEnum
from typing import Literal

from pydantic import Field

from monitor.documents.base import Model
from monitor.quantities import Quantity
from monitor.setup.models import Correction, Enclosure, Probe, Room

Place = Room | Enclosure


class Salt(StrEnum):
    """A salt whose saturated solution holds the air above it at a known humidity."""

    LITHIUM_CHLORIDE = "lithium_chloride"
    MAGNESIUM_CHLORIDE = "magnesium_chloride"
    POTASSIUM_CARBONATE = "potassium_carbonate"
    SODIUM_CHLORIDE = "sodium_chloride"
    POTASSIUM_CHLORIDE = "potassium_chloride"
    POTASSIUM_SULFATE = "potassium_sulfate"

    @property
    def in_words(self) -> str:
        """What people call it."""
        return self.replace("_", " ")


class CalibrationSettings(Model):
    """How a probe is calibrated in a salt box. The defaults are common practice, no source."""

    at_least_h: float = Field(default=12.0, ge=10, le=168)
    """Hours that a probe stays with a salt at least, however still it is before."""
    rest_within_pct: float = Field(default=0.3, gt=0, le=2)
    """It is at rest when very likely no more than this is still to come, %RH."""
    steady_within_k: float = Field(default=1.0, gt=0, le=3)
    """How much the temperature may vary over the last four hours, K from lowest to highest."""
    apart_k: float = Field(default=0.1, ge=0, le=2)
    """How much warmer or cooler than the salt the probe may be, K: 0.1 K is worth 0.6 % of the
    humidity."""
    longest_h: float = Field(default=96.0, ge=24, le=1000)
    """Hours with one salt after which a run that nobody ended is abandoned: the probe's alarms are
    off meanwhile."""
    due_days: int = Field(default=365, ge=1, le=3650)
    """Days after which a probe is to be calibrated again."""


class Rested(Model):
    """What a probe read when it had come to rest."""

    reading: float
    """Mean of the raw readings of the last hours, %RH."""
    u_reading: float
    """Its standard uncertainty, with what may still be to come, %RH."""
    temperature: float
    """Mean temperature of the box over the same hours, Cel."""
    count: int
    """How many readings that were."""


class Step(Model):
    """The time with one salt; ``rested`` once it was closed well."""

    salt: Salt
    since_ms: int
    until_ms: int | None = None
    rested: Rested | None = None


class Run(Model):
    """A calibration under way or past: which salts, how far, by whom.

    ``correction`` was in force when it began and must stay so: stored readings are corrected ones.
    """

    salts: tuple[Salt, ...]
    steps: tuple[Step, ...]
    correction: Correction
    by: str


class Point(Model):
    """One salt as the certificate tells it; ``reference_limit`` is how far it may be off."""

    salt: Salt
    reference: float
    reference_limit: float
    reading: float
    u_reading: float
    temperature: float
    residual: float
    """Corrected reading less reference, %RH."""


class Drift(Model):
    """How far the probe, corrected as until now, has gone astray since the certificate before."""

    since_ms: int
    humidity: float
    """Where it is largest, %RH."""
    drift: float
    """Reading less truth there, %RH."""
    uncertainty: float
    """Of the drift, 95 %."""

    @property
    def is_clear(self) -> bool:
        """Whether it is more than both calibrations leave open."""
        return abs(self.drift) > self.uncertainty


class Certificate(Model):
    """What a run found: corrected = gain x raw + offset. Uncertainties are half 95 % intervals."""

    quantity: Literal["humidity"] = "humidity"
    made_ms: int
    due_ms: int
    points: tuple[Point, ...]
    gain: float
    u_gain: float
    """0 where one point alone was taken: the gain is then left at 1, not measured."""
    offset: float
    u_offset: float
    uncertainty: tuple[float, ...]
    """Of the corrected humidity at raw readings of 0, 10, ... 100 %RH."""
    before: Correction
    """The correction that was in force meanwhile."""
    drift: Drift | None = None
    unusable: str = ""
    """Why it must not be applied; empty if it may."""
    says: str

    @property
    def correction(self) -> Correction:
        """What it asks for in the set-up. Only of a usable one."""
        return Correction(gain=round(self.gain, 5), offset=round(self.offset, 3))


def correction_of(probe: Probe) -> Correction:
    """The correction of a probe's humidity in the set-up."""
    return probe.calibration.get(Quantity.HUMIDITY, Correction())


def corrected(place: Place, probe: str, correction: Correction) -> Place:
    """A place whose probe of that id has this correction of its humidity."""
    probes = [
        each.model_copy(update={"calibration": {**each.calibration, Quantity.HUMIDITY: correction}})
        if each.id == probe
        else each
        for each in place.probe
    ]
    return place.model_copy(update={"probe": tuple(probes)})


def as_written(correction: Correction) -> str:
    """The line of a set-up file that holds a correction of the humidity."""
    return (
        f"calibration = {{ humidity = {{ offset = {correction.offset:g}, "
        f"gain = {correction.gain:g} }} }}"
    )
