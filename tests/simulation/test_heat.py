"""Temperatures of zones, lamps, mats and their thermostats."""

import numpy as np
import pytest

from monitor.simulation import EnclosureModel, HeatMat, ZoneModel
from monitor.simulation.heat import Heat

ZONES = (
    ZoneModel("warm", lamp_k=4.0, mat_k=10.0, offset_k=0.5, tau_s=1200.0),
    ZoneModel("cool", lamp_k=1.0, mat_k=2.0, tau_s=600.0, mist_dip_k_per_g=0.1),
)
PLAIN = EnclosureModel(id="box", zones=ZONES)
MATTED = EnclosureModel(
    id="box", zones=ZONES, mat=HeatMat("warm", 26.0, night_setpoint=23.0, hysteresis_k=0.3)
)


def columns(steps: int, **values: float) -> dict[str, np.ndarray]:
    """Constant inputs: a room of 20 Cel and nothing switched on, unless set otherwise."""
    defaults = {"room": 20.0, "lamp": 0.0, "lit": 0.0, "stuck": 0.0, "mist_g": 0.0}
    return {name: np.full(steps, value) for name, value in {**defaults, **values}.items()}


def test_a_lamp_warms_each_zone_with_its_own_time_constant() -> None:
    """Lit from a cold start, a zone has done 1 - 1/e of its gain after its time constant."""
    heat = Heat(60.0)
    heat.advance(PLAIN, **columns(1))
    zones, _ = heat.advance(PLAIN, **columns(20, lamp=1.0))
    assert zones["warm"][19] == pytest.approx(20.5 + 4.0 * (1 - np.exp(-1)))
    assert zones["cool"][9] == pytest.approx(20.0 + 1.0 * (1 - np.exp(-1)))


def test_energy_balance_of_a_lit_day() -> None:
    """Heat given off to the room equals the gain put in less what the zone stored (per W/K)."""
    heat = Heat(60.0)
    heat.advance(PLAIN, **columns(1))
    lamp = columns(600)
    lamp["lamp"][100:400] = 1.0
    zones, _ = heat.advance(PLAIN, **lamp)
    warm = zones["warm"]
    # Trapezoids of the exponential course between the step ends: accurate to some 1e-4 here.
    given_off = np.trapezoid(np.concatenate([[20.5], warm]) - 20.5, dx=60.0)
    put_in = 4.0 * 300 * 60.0
    stored = 1200.0 * (warm[-1] - 20.5)
    assert given_off == pytest.approx(put_in - stored, rel=1e-3)


def test_the_thermostat_holds_its_setpoint_by_day_and_by_night() -> None:
    """The feeler's zone swings about the setpoint of the time, within hysteresis and overshoot."""
    for lit, setpoint in ((1.0, 26.0), (0.0, 23.0)):
        zones, mat = Heat(60.0).advance(MATTED, **columns(1000, lit=lit))
        settled = zones["warm"][300:]
        assert settled.mean() == pytest.approx(setpoint, abs=0.3)
        assert np.abs(settled - setpoint).max() < 0.3 + 10.0 * 60.0 / 1200.0
        assert set(mat[300:]) == {0.0, 1.0}


def test_a_mat_stuck_on_ignores_its_thermostat() -> None:
    """Stuck on, the mat drives its zone to the full gain; stuck at half, to half of it."""
    full, _ = Heat(60.0).advance(MATTED, **columns(600, stuck=1.0))
    half, _ = Heat(60.0).advance(MATTED, **columns(600, stuck=0.5))
    assert full["warm"][-1] == pytest.approx(20.5 + 10.0, abs=0.01)
    assert half["warm"][-1] == pytest.approx(20.5 + 5.0, abs=0.01)
    assert full["cool"][-1] == pytest.approx(20.0 + 2.0, abs=0.01)


def test_mist_cools_at_once_and_wears_off() -> None:
    """Five grams at 0.1 K/g are 0.5 K in that step, and 1/e of it a time constant later."""
    mist = columns(20)
    mist["mist_g"][3] = 5.0
    zones, _ = Heat(60.0).advance(PLAIN, **mist)
    assert zones["cool"][2:4] == pytest.approx([20.0, 19.5])
    assert zones["cool"][13] == pytest.approx(20.0 - 0.5 * np.exp(-1))


def test_a_start_in_the_mist_is_not_a_cold_start() -> None:
    """A misting in the very first step cools by its dip only."""
    zones, _ = Heat(60.0).advance(PLAIN, **columns(1, mist_g=5.0))
    assert zones["cool"][0] == pytest.approx(19.5)
