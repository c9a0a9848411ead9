"""What a probe makes of the truth."""

import numpy as np
import pytest

from monitor.simulation import Fault, FaultKind, ProbeModel, Readings
from monitor.simulation.record import ZoneTruth
from monitor.simulation.sensor import SOAKED_FOR_MS, Sensor

MINUTE = 60_000
HOUR = 60 * MINUTE
PLAIN = ProbeModel(
    owner="box",
    id="air",
    zone="floor",
    jitter_s=0.0,
    temperature_noise=0.0,
    humidity_noise=0.0,
    temperature_step=0.0,
    humidity_step=0.0,
    temperature_lag_s=0.0,
    humidity_lag_s=0.0,
    dropout=0.0,
)


def probe(**changes: float | bool) -> ProbeModel:
    """A perfect probe but for the changes."""
    values = {name: getattr(PLAIN, name) for name in ProbeModel.__slots__}
    return ProbeModel(**{**values, **changes})


def read(
    model: ProbeModel,
    humidity: float | np.ndarray = 60.0,
    *faults: Fault,
    hours: int = 24,
    seed: int = 5,
) -> Readings:
    """Readings of a steady 22 Cel (and that humidity) by minutes from the epoch on."""
    steps = hours * 60
    ends_ms = MINUTE * np.arange(1, steps + 1)
    truth = ZoneTruth(np.full(steps, 22.0), np.broadcast_to(humidity, steps).astype(float))
    return Sensor(np.random.default_rng(seed), 0, MINUTE).advance(model, faults, ends_ms, truth)


def test_a_perfect_probe_tells_the_truth_on_its_beat() -> None:
    """One report a period, none missing, and the values are the truth's."""
    told = read(probe(period_s=30.0))
    assert len(told.at_ms) in {2879, 2880}
    assert set(np.diff(told.at_ms)) <= {29_999, 30_000, 30_001}
    assert set(told.temperature) == {22.0}
    assert set(told.humidity) == {60.0}


def test_between_steps_it_reads_between_their_values() -> None:
    """On a rising truth the readings lie on the same straight line."""
    told = read(probe(period_s=7.0), np.linspace(40.1, 50.0, 60), hours=1)
    later = told.at_ms > MINUTE
    expected = 40.1 + 9.9 * (told.at_ms[later] / MINUTE - 1) / 59
    assert told.humidity[later] == pytest.approx(expected)


def test_noise_has_its_spread() -> None:
    """The scatter of both quantities is the one asked for."""
    told = read(probe(temperature_noise=0.1, humidity_noise=0.5), hours=200)
    assert told.temperature.std() == pytest.approx(0.1, rel=0.03)
    assert told.humidity.std() == pytest.approx(0.5, rel=0.03)


def test_resolution_leaves_decimal_numbers() -> None:
    """Values come in steps, as a probe would print them."""
    told = read(probe(humidity_noise=0.5, humidity_step=0.1, temperature_step=0.25))
    assert all(value == float(f"{value:.1f}") for value in told.humidity.tolist())
    assert set(told.temperature) == {22.0}


def test_lag_is_of_first_order() -> None:
    """Five minutes of lag: five minutes after a jump by 20 %RH, 1 - 1/e of it shows."""
    truth = np.where(np.arange(120) < 60, 50.0, 70.0)
    told = read(probe(period_s=1.0, humidity_lag_s=300.0), truth, hours=2)
    reached = np.interp(65 * MINUTE, told.at_ms, told.humidity)
    assert reached == pytest.approx(50.0 + 20.0 * (1 - np.exp(-1)), abs=0.05)


def test_gain_offset_and_drift_add_up() -> None:
    """Two days in: gain x truth + offset + two days' drift."""
    model = probe(
        humidity_gain=0.95, humidity_offset=3.0, humidity_drift=-1.0, temperature_offset=0.4
    )
    told = read(model, hours=48)
    assert told.humidity[-1] == pytest.approx(0.95 * 60.0 + 3.0 - 2.0, abs=0.01)
    assert told.temperature[-1] == pytest.approx(22.4)


def test_humidity_never_leaves_its_scale() -> None:
    """Noise and errors are cut off at 0 and 100 %RH."""
    wet = read(probe(humidity_noise=3.0, humidity_offset=5.0, soaks=False), 97.0).humidity
    dry = read(probe(humidity_noise=3.0, humidity_offset=-5.0), 4.0).humidity
    assert (wet.min(), wet.max()) > (90.0, 99.9)
    assert wet.max() == 100.0
    assert dry.min() == 0.0


def test_a_soaked_probe_reads_100_until_it_has_dried() -> None:
    """After saturation it stays at 100 for its drying time; one that does not soak, does not."""
    minutes = np.arange(180)
    truth = np.where((minutes >= 60) & (minutes < 65), 100.0, 70.0)
    last_wet_ms = 65 * MINUTE
    told = read(probe(period_s=10.0), truth, hours=3)
    after = told.at_ms > last_wet_ms + MINUTE
    full = told.humidity == 100.0
    assert told.at_ms[full].max() - last_wet_ms == pytest.approx(SOAKED_FOR_MS, abs=25_000)
    assert set(told.humidity[after & ~full]) == {70.0}
    assert np.diff(np.flatnonzero(full)).max() == 1
    quick = read(probe(period_s=10.0, soaks=False), truth, hours=3)
    assert set(quick.humidity[after]) == {70.0}


def test_dropouts_come_as_often_as_said() -> None:
    """Three of a hundred reports never arrive."""
    told = read(probe(dropout=0.03), hours=500)
    assert len(told.at_ms) / (500 * 60) == pytest.approx(0.97, abs=0.004)


def test_jitter_moves_reports_about_their_beat() -> None:
    """Report times scatter, but stay in order."""
    told = read(probe(period_s=60.0, jitter_s=2.0), hours=100)
    gaps = np.diff(told.at_ms)
    assert gaps.min() > 0
    assert gaps.std() == pytest.approx(2000 * np.sqrt(2), rel=0.05)


def test_drift_and_jump_faults_shift_the_reading_only() -> None:
    """A drift grows by the hour, a jump is there at once; both end with the fault."""
    drift = Fault(FaultKind.PROBE_DRIFT, 6 * HOUR, 16 * HOUR, "box", "air", -2.0)
    jump = Fault(FaultKind.PROBE_JUMP, 18 * HOUR, 20 * HOUR, "box", "air")
    told = read(PLAIN, 60.0, drift, jump)
    at = {hour: float(np.interp(hour * HOUR, told.at_ms, told.humidity)) for hour in range(1, 24)}
    assert at[5] == 60.0
    assert at[11] == pytest.approx(50.0, abs=0.05)
    assert at[15] == pytest.approx(42.0, abs=0.05)
    assert at[17] == 60.0
    assert at[19] == 45.0
    assert at[21] == 60.0


def test_a_stuck_probe_repeats_its_last_word() -> None:
    """While stuck all reports are the one before; they keep coming."""
    stuck = Fault(FaultKind.PROBE_STUCK, 6 * HOUR, 12 * HOUR, "box", "air")
    told = read(probe(humidity_noise=1.0), 60.0, stuck)
    during = (told.at_ms >= 6 * HOUR) & (told.at_ms < 12 * HOUR)
    assert during.sum() == 360
    assert set(told.humidity[during]) == {told.humidity[~during & (told.at_ms < 6 * HOUR)][-1]}
    assert np.unique(told.humidity[told.at_ms >= 12 * HOUR]).size > 500


def test_an_unplugged_probe_is_silent() -> None:
    """No report comes while it is unplugged, and they come again after."""
    gone = Fault(FaultKind.PROBE_UNPLUGGED, 6 * HOUR, 12 * HOUR, "box", "air")
    told = read(PLAIN, 60.0, gone)
    assert np.diff(told.at_ms).max() == pytest.approx(6 * HOUR, abs=MINUTE)
    assert told.at_ms[-1] > 23 * HOUR


def test_the_fault_of_another_probe_is_no_matter() -> None:
    """A fault hits the probe it names."""
    other = Fault(FaultKind.PROBE_UNPLUGGED, 0, None, "box", "other")
    assert len(read(PLAIN, 60.0, other).at_ms) >= 1439
