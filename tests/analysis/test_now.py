"""The climate at a probe now."""

from typing import Any

import pytest
from CoolProp.HumidAirProp import HAPropsSI

from monitor.analysis.now import probe_now
from monitor.quality import Reason
from monitor.quantities import DERIVED_UNITS, Quantity
from monitor.setup.models import Probe, Zone
from monitor.store.readings import Latest

CANOPY = Probe(id="canopy", zone=Zone.CANOPY, period_s=30)
AT_MS = 1_796_000_000_000


def now(
    temperature: tuple[int, float, Reason] | None, humidity: tuple[int, float, Reason] | None
) -> dict[str, Any]:
    """The climate from up to two readings: (seconds after the first, value, reason)."""
    given = {Quantity.TEMPERATURE: temperature, Quantity.HUMIDITY: humidity}
    return probe_now(
        CANOPY,
        {
            quantity: Latest(AT_MS + 1000 * reading[0], *reading[1:])
            for quantity, reading in given.items()
            if reading is not None
        },
    )


def test_what_follows_from_temperature_and_humidity() -> None:
    """All derived quantities, with their units; the dew point is CoolProp's (0.01 K)."""
    climate = now((0, 23.4, Reason.OK), (5, 81.2, Reason.OK))
    by_coolprop = HAPropsSI("Tdp", "T", 273.15 + 23.4, "R", 0.812, "P", 101_325) - 273.15

    assert {q: climate[q]["unit"] for q in DERIVED_UNITS} == DERIVED_UNITS
    assert climate["dew_point"]["value"] == pytest.approx(by_coolprop, abs=0.01)
    assert climate["at"] == "2026-11-30T00:53:25Z"


@pytest.mark.parametrize(
    ("temperature", "humidity"),
    [
        ((0, 23.4, Reason.OK), None),
        (None, (0, 81.2, Reason.OK)),
        ((0, 23.4, Reason.OK), (31, 81.2, Reason.OK)),
        ((31, 23.4, Reason.OK), (0, 81.2, Reason.OK)),
    ],
)
def test_readings_that_do_not_belong_together(
    temperature: tuple[int, float, Reason] | None, humidity: tuple[int, float, Reason] | None
) -> None:
    """More than a period apart, or alone, they are shown, and nothing is made of them."""
    climate = now(temperature, humidity)

    assert not set(DERIVED_UNITS) & set(climate)
    assert len({Quantity.TEMPERATURE, Quantity.HUMIDITY} & set(climate)) >= 1


def test_what_follows_is_no_better_than_what_it_follows_from() -> None:
    """One suspect reading makes all that is derived from it suspect."""
    climate = now((0, 23.4, Reason.OK), (0, 81.2, Reason.STEP))

    assert climate["temperature"]["quality"] == "good"
    assert climate["humidity"]["quality"] == "suspect"
    assert {climate[q]["quality"] for q in DERIVED_UNITS} == {"suspect"}


def test_air_without_water_has_no_dew_point() -> None:
    """None, which JSON can say; the rest has its values."""
    climate = now((0, 23.4, Reason.OK), (0, 0.0, Reason.OK))

    assert climate["dew_point"]["value"] is None
    assert climate["absolute_humidity"]["value"] == 0.0


def test_a_probe_that_never_sent_anything() -> None:
    """Has a place and no time."""
    assert now(None, None) == {"probe": "canopy", "zone": "canopy", "at": None}
