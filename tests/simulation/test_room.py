"""The air outside the enclosures."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from monitor.simulation import Fault, FaultKind, Heating, RoomModel
from monitor.simulation.room import RoomAir, RoomTruth

UTC = ZoneInfo("UTC")
DAY = 1440
CALM = RoomModel(weather_k=0.0, unrest_k=0.0, weather_kpa=0.0, unrest_kpa=0.0)


def run(model: RoomModel, faults: tuple[Fault, ...] = (), days: int = 2) -> RoomTruth:
    """A room from midnight (1 January 1970) on, by minutes."""
    ends_ms = 60_000 * np.arange(1, days * DAY + 1)
    return RoomAir(np.random.default_rng(4), 60.0).advance(model, faults, UTC, ends_ms)


def test_the_daily_course_peaks_in_the_afternoon() -> None:
    """Without weather the room swings by its daily share about its mean, warmest at 17:00."""
    room = run(CALM, days=1)
    assert room.temperature.mean() == pytest.approx(CALM.temperature, abs=1e-6)
    assert room.temperature.max() == pytest.approx(CALM.temperature + CALM.daily_k, abs=1e-4)
    assert np.argmax(room.temperature) + 1 == 17 * 60


def test_weather_has_its_spread() -> None:
    """Over a long time slow and fast courses have the standard deviations asked for."""
    model = RoomModel(daily_k=0.0, daily_kpa=0.0, weather_kpa=0.05, heating=())
    room = run(model, days=400)
    assert room.temperature.std() == pytest.approx(np.hypot(1.2, 0.15), rel=0.15)
    assert room.vapour_pressure.std() == pytest.approx(np.hypot(0.05, 0.015), rel=0.15)


def test_heating_warms_and_so_dries_the_air() -> None:
    """Heating adds its kelvin with the room's inertia; humidity falls though vapour stays."""
    model = RoomModel(
        daily_k=0,
        daily_kpa=0,
        weather_k=0,
        unrest_k=0,
        weather_kpa=0,
        unrest_kpa=0,
        heating=(Heating(dt.time(6), dt.time(12), 2.0),),
    )
    room = run(model, days=1)
    before, after = 6 * 60 - 2, 12 * 60 - 2
    assert room.temperature[before] == pytest.approx(20.5, abs=0.01)
    assert room.temperature[6 * 60 + 39] == pytest.approx(20.5 + 2.0 * (1 - np.exp(-1)), abs=0.03)
    assert room.temperature[after] == pytest.approx(22.5, abs=0.01)
    assert room.vapour_pressure[after] == room.vapour_pressure[before]
    assert room.humidity[after] < room.humidity[before] - 4.0


def test_humidity_is_that_of_vapour_at_temperature() -> None:
    """45 % of the saturation pressure at 22 Cel (CoolProp, IAPWS) are 45 %RH."""
    vapour = 0.45 * PropsSI("P", "T", 295.15, "Q", 1, "Water") / 1000
    model = RoomModel(22.0, 0, 0, 0, vapour, 0, 0, 0)
    assert run(model, days=1).humidity[-1] == pytest.approx(45.0, rel=5e-4)


def test_the_room_can_never_be_steamier_than_air_holds() -> None:
    """However odd the numbers, humidity stays above nothing and below saturation."""
    for vapour in (0.01, 9.0):
        humidity = run(RoomModel(vapour_pressure=vapour, weather_kpa=0.3)).humidity
        assert humidity.min() > 0.0
        assert humidity.max() <= 95.0 + 1e-9


def test_a_dry_heating_fault_warms_and_takes_vapour() -> None:
    """Heating left on: +4 K and a fifth of the vapour gone, once the room has followed."""
    start_ms = 12 * 3_600_000
    sick = run(CALM, (Fault(FaultKind.ROOM_HEATING_DRY, start_ms),))
    well = run(CALM)
    assert (sick.temperature - well.temperature)[:720] == pytest.approx(0.0)
    assert (sick.temperature - well.temperature)[-1] == pytest.approx(4.0, abs=0.01)
    assert (sick.vapour_pressure / well.vapour_pressure)[-1] == pytest.approx(0.8, abs=0.001)


def test_dry_air_takes_vapour_and_no_heat() -> None:
    """A dry front takes its share of the vapour and goes when it ends."""
    hour = 3_600_000
    sick = run(CALM, (Fault(FaultKind.ROOM_DRY_AIR, 6 * hour, 24 * hour, strength=0.3),))
    well = run(CALM)
    assert sick.temperature == pytest.approx(well.temperature)
    ratio = sick.vapour_pressure / well.vapour_pressure
    assert ratio[24 * 60 - 1] == pytest.approx(0.7, abs=0.001)
    assert ratio[-1] == pytest.approx(1.0, abs=0.001)
