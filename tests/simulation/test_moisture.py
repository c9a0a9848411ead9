"""The water of an enclosure, against worked examples, scipy and its own bookkeeping."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from monitor.simulation import EnclosureModel, ZoneModel
from monitor.simulation.moisture import Forcing, Water, WaterTruth, relax, vapour_density

# Worked example, made with scipy and Magnus (WMO form): 0.1 m3 at 25 Cel in a room of 22 Cel and
# 45 %RH, substrate surface saturated at 23.5 Cel; rates per hour, densities in g/m3.
EXCHANGE, KAPPA = 2.0, 0.5
OUTSIDE, SATURATED, SUBSTRATE = 8.625504, 22.966160, 20.991866
SETTLED = 11.098776
PULLS = ((EXCHANGE, OUTSIDE), (KAPPA, SUBSTRATE))

BARE = EnclosureModel(
    id="box",
    zones=(ZoneModel("floor"),),
    volume_m3=0.1,
    exchange=EXCHANGE,
    kappa=KAPPA,
    substrate_g=1e9,
    film_kappa=0.0,
    film_g=1e9,
    airborne=1.0,
)


def constant(steps: int, **columns: float) -> Forcing:
    """The worked example's conditions, held, with some columns set otherwise."""
    values = {
        "kelvin": 298.15,
        "exchange": EXCHANGE,
        "outside": OUTSIDE,
        "substrate": SUBSTRATE,
        "wall": SATURATED,
        "saturated": SATURATED,
        "lit": 0.0,
        "mist_g": 0.0,
        **columns,
    }
    return Forcing(**{name: np.full(steps, value) for name, value in values.items()})


def stored(truth: WaterTruth, volume_m3: float) -> np.ndarray:
    """All water that is or has been there, less what was misted in: must not change."""
    return (
        truth.vapour_g_m3 * volume_m3
        + truth.film_g
        + truth.substrate_g
        + truth.vented_g
        + truth.drained_g
        - truth.misted_g
    )


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        (0.25, 17.450929),
        (0.5, 14.498839),
        (1.0, 12.072911),
        (2.0, 11.178738),
        (4.0, 11.099315),
        (24.0, SETTLED),
    ],
)
def test_decay_follows_the_worked_example(hours: float, expected: float) -> None:
    """From saturation the vapour falls as the analytic solution (confirmed by scipy) says."""
    assert relax(SATURATED, hours, PULLS)[0] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("minutes", "humidity"),
    [(2.4425, 95.0), (5.1619, 90.0), (11.7472, 80.0), (20.8526, 70.0), (35.7032, 60.0)],
)
def test_dry_out_takes_the_worked_time(minutes: float, humidity: float) -> None:
    """Each humidity is reached at the minute of the worked example."""
    reached = relax(SATURATED, minutes / 60.0, PULLS)[0]
    assert 100.0 * reached / SATURATED == pytest.approx(humidity, rel=1e-5)


@pytest.mark.parametrize("step_s", [10.0, 60.0, 900.0])
def test_the_stepped_enclosure_is_exact_at_any_step(step_s: float) -> None:
    """Stepping the whole enclosure gives the worked decay, however long a step is."""
    water = Water(vapour=SATURATED, film=0.0, substrate=1e9, kelvin=298.15)
    truth = water.advance(BARE, constant(int(3600 / step_s)), step_s)
    assert truth.vapour_g_m3[-1] == pytest.approx(12.072911, rel=1e-6)


@pytest.mark.parametrize(
    ("every_h", "trough", "mean"), [(12, SETTLED, 11.198776), (1, 11.367053, 12.298776)]
)
def test_equal_pulses_settle_to_the_worked_course(every_h: int, trough: float, mean: float) -> None:
    """Pulses of 3 g/m3, uncapped, lead to the worked trough and mean."""
    per_pulse = every_h * 60
    forcing = constant(20 * per_pulse, saturated=1e3)
    forcing.mist_g[::per_pulse] = 0.3
    water = Water(vapour=SETTLED, film=0.0, substrate=1e9, kelvin=298.15)
    truth = water.advance(BARE, forcing, 60.0)
    assert truth.vapour_g_m3[-1] == pytest.approx(trough, rel=1e-5)
    vented = truth.vented_g[-1] - truth.vented_g[-1 - per_pulse]
    assert OUTSIDE + vented / (EXCHANGE * 0.1 * every_h) == pytest.approx(mean, rel=1e-5)


def test_air_stays_saturated_while_a_film_lasts() -> None:
    """Mist beyond saturation becomes film, and with fast transfer drying starts when it is gone."""
    model = replace(BARE, film_kappa=1e4, film_breaks_g=1e-3)
    forcing = constant(240)
    forcing.mist_g[0] = 3.0
    water = Water(vapour=SETTLED, film=0.0, substrate=1e9, kelvin=298.15)
    truth = water.advance(model, forcing, 60.0)
    # Vented while saturated: N (v_sat - v_o) V, less what the substrate gives; the film must end
    # when this has carried off the dose but for the 1.186738 g that the air itself took up.
    carried = (EXCHANGE * (SATURATED - OUTSIDE) - KAPPA * (SUBSTRATE - SATURATED)) * 0.1
    lasts_min = 60.0 * (3.0 - 1.186738) / carried
    minute = int(np.argmax(truth.vapour_g_m3 < 0.995 * SATURATED))
    assert minute == pytest.approx(lasts_min, abs=1.5)


def test_everything_wet_at_once_agrees_with_scipy() -> None:
    """Film, cold glass, drying substrate and leaves together follow the written equations."""
    model = replace(
        BARE,
        substrate_g=20.0,
        dry_below=0.8,
        film_kappa=6.0,
        film_breaks_g=1.0,
        transpiration=0.4,
    )
    wall = 20.0

    def slopes(_: float, state: np.ndarray) -> list[float]:
        v, film, substrate = state
        wet = min(1.0, substrate / 16.0)
        ground = KAPPA * wet * (SUBSTRATE - v)
        leaves = 0.4 * wet * (SATURATED - v)
        glass = 6.0 * (1.0 if v > wall else min(1.0, film)) * (wall - v)
        return [
            EXCHANGE * (OUTSIDE - v) + ground + leaves + glass,
            -0.1 * glass,
            -0.1 * (ground + leaves),
        ]

    other = solve_ivp(
        slopes, (0, 6), [15.0, 2.0, 18.0], rtol=1e-9, atol=1e-9, max_step=0.01, t_eval=[1, 3, 6]
    )
    water = Water(vapour=15.0, film=2.0, substrate=18.0, kelvin=298.15)
    truth = water.advance(model, constant(6 * 720, wall=wall, lit=1.0), 5.0)
    at = [720 - 1, 3 * 720 - 1, 6 * 720 - 1]
    assert truth.vapour_g_m3[at] == pytest.approx(other.y[0], rel=1e-3)
    assert truth.film_g[at] == pytest.approx(other.y[1], abs=2e-3)
    assert truth.substrate_g[at] == pytest.approx(other.y[2], rel=1e-4)


@given(
    step_s=st.sampled_from([10.0, 60.0, 600.0, 3600.0]),
    exchange=st.floats(0.0, 30.0),
    kappa=st.floats(0.0, 3.0),
    film_kappa=st.floats(0.0, 30.0),
    leaves=st.floats(0.0, 2.0),
    outside=st.floats(1.0, 30.0),
    wall=st.floats(0.5, 1.0),
    warmth=st.floats(0.7, 1.3),
    mist=st.lists(st.floats(0.0, 20.0), min_size=1, max_size=12),
)
def test_no_water_is_made_or_lost(
    step_s: float,
    exchange: float,
    kappa: float,
    film_kappa: float,
    leaves: float,
    outside: float,
    wall: float,
    warmth: float,
    mist: list[float],
) -> None:
    """Whatever drives it: mist in = stores + vented + drained, no store below zero, no fog."""
    model = replace(
        BARE,
        kappa=kappa,
        film_kappa=film_kappa,
        transpiration=leaves,
        film_g=3.0,
        substrate_g=30.0,
        airborne=0.3,
    )
    forcing = constant(
        len(mist),
        exchange=exchange,
        outside=min(outside, SATURATED),
        wall=wall * SATURATED,
        substrate=warmth * SATURATED,
        lit=1.0,
    )
    forcing.mist_g[:] = mist
    forcing.kelvin[:] = 290.0 + np.arange(len(mist))
    water = Water(vapour=10.0, film=0.5, substrate=5.0, kelvin=290.0)
    truth = water.advance(model, forcing, step_s)
    assert stored(truth, 0.1) == pytest.approx(6.5, abs=1e-8)
    assert truth.film_g.min() >= -1e-9
    assert truth.film_g.max() <= 3.0
    assert truth.substrate_g.min() >= -1e-9
    assert truth.substrate_g.max() <= 30.0
    assert truth.vapour_g_m3.min() >= 0.0
    assert truth.vapour_g_m3.max() <= SATURATED * (1 + 1e-12)


def test_vapour_density_is_that_of_an_ideal_gas() -> None:
    """Saturated air holds what CoolProp's saturation pressures make of the ideal gas law."""
    pressures = np.array([1.22820, 2.33932, 4.24697])  # kPa at 10, 20, 30 Cel, CoolProp 8.0.0
    expected = [9.399, 17.291, 30.355]  # g/m3, ideal
    assert vapour_density(np.array([10.0, 20.0, 30.0]), pressures) == pytest.approx(
        expected, rel=1e-4
    )
