"""Propagated uncertainties against figures worked with another formula, and simulation."""

import numpy as np
import pytest

from monitor import air

# Standard uncertainties of dew point (K) and deficit (Pa), computed beforehand with the Magnus form
# of WMO-No. 8 and GUM equation 10: temperature, humidity, then u(VPD) and u(Td) for sensors with
# (0.3 K, 2 %RH), (0.3 K, 3 %RH).
WORKED = [
    (20, 50, 51.4, 0.656, 73.3, 0.934),
    (25, 50, 69.2, 0.675, 98.9, 0.965),
    (25, 80, 64.2, 0.502, 95.5, 0.678),
    (25, 95, 63.3, 0.461, 94.8, 0.605),
    (30, 60, 89.6, 0.613, 130.3, 0.864),
    (30, 90, 85.0, 0.483, 127.2, 0.645),
    (35, 30, 129.9, 1.067, 180.6, 1.575),
]


@pytest.mark.parametrize(("t", "rh", "vpd_2", "dew_2", "vpd_3", "dew_3"), WORKED)
def test_worked_figures(
    t: float, rh: float, vpd_2: float, dew_2: float, vpd_3: float, dew_3: float
) -> None:
    """Within 0.4 % and half a digit of the same propagation through another saturation formula."""
    for u_rh, vpd, dew in ((2.0, vpd_2, dew_2), (3.0, vpd_3, dew_3)):
        u_vpd = 1000.0 * air.vapour_pressure_deficit_uncertainty(t, rh, 0.3, u_rh)

        assert u_vpd == pytest.approx(vpd, rel=4e-3, abs=0.05)
        assert air.dew_point_uncertainty(t, rh, 0.3, u_rh) == pytest.approx(dew, rel=4e-3, abs=5e-4)


@pytest.mark.parametrize(("t", "rh"), [(row[0], row[1]) for row in WORKED])
def test_simulation(t: float, rh: float) -> None:
    """400,000 simulated sensors (fixed seed) scatter as the propagation says, to 1 %.

    The curvature that a first-order formula leaves out is worth 0.5 %, the draw itself 0.1 %.
    """
    random = np.random.default_rng(20_260)
    temperature = random.normal(t, 0.3, 400_000)
    humidity = random.normal(rh, 2.0, 400_000)

    dew = air.dew_point(temperature, humidity).std()
    deficit = air.vapour_pressure_deficit(temperature, humidity).std()

    assert air.dew_point_uncertainty(t, rh, 0.3, 2.0) == pytest.approx(dew, rel=0.01)
    assert air.vapour_pressure_deficit_uncertainty(t, rh, 0.3, 2.0) == pytest.approx(
        deficit, rel=0.01
    )


def test_limits_become_standard_uncertainties() -> None:
    """Sold as +/-0.3 K and +/-3 %RH, a sensor at 25 Cel, 80 %RH leaves 55.1 Pa and 0.391 K."""
    u_t, u_rh = air.standard_uncertainty(0.3), air.standard_uncertainty(3.0)

    assert u_t == pytest.approx(0.1732, abs=5e-5)
    assert 1000.0 * air.vapour_pressure_deficit_uncertainty(25, 80, u_t, u_rh) == pytest.approx(
        55.1, rel=4e-3
    )
    assert air.dew_point_uncertainty(25, 80, u_t, u_rh) == pytest.approx(0.391, rel=4e-3)


def test_limits_are_those_of_a_uniform_spread() -> None:
    """The helper's figure is the spread of values drawn evenly between the limits."""
    drawn = np.random.default_rng(3).uniform(-2.0, 2.0, 400_000)

    assert air.standard_uncertainty(2.0) == pytest.approx(drawn.std(), rel=5e-3)


def test_a_perfect_sensor_leaves_no_uncertainty() -> None:
    """Without sensor uncertainty there is none in the result."""
    assert air.dew_point_uncertainty(25.0, 50.0, 0.0, 0.0) == 0.0
    assert air.vapour_pressure_deficit_uncertainty(25.0, 50.0, 0.0, 0.0) == 0.0


def test_dry_air_has_no_dew_point_to_be_unsure_of() -> None:
    """At 0 %RH the dew point's uncertainty is NaN, that of the deficit is not."""
    assert np.isnan(air.dew_point_uncertainty(25.0, 0.0, 0.3, 2.0))
    assert air.vapour_pressure_deficit_uncertainty(25.0, 0.0, 0.3, 2.0) > 0.0
