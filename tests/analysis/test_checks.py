"""Signs that a probe cannot be believed."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.causes import CauseKind, Evidence, History, Side, explain
from monitor.analysis.causes.checks import failure, jump
from tests.analysis.records import NOW_MS, Column, record, since


def evidence(target: History, side: Side = Side.LOW) -> Evidence:
    """An alarm of an hour's standing."""
    return Evidence(target, since(1.0), NOW_MS, 60.0, side)


def told(target: History, humidity: Column) -> History:
    """The same record with other humidities."""
    return replace(target, humidity=humidity)


def ago_h(target: History) -> Column:
    """Hours before now of each reading."""
    return np.asarray((NOW_MS - target.at_ms) / 3.6e6)


NOISY = record(noise=0.3)


def test_a_sound_probe_passes() -> None:
    """Noise and mistings are no failure."""
    assert failure(NOISY, NOW_MS) is None
    assert jump(evidence(NOISY)) is None


@pytest.mark.parametrize(
    ("humidity", "says"),
    [
        (np.where(ago_h(NOISY) < 0.6, np.nan, NOISY.humidity), "no humidity for 30 min"),
        (np.where(ago_h(NOISY) < 0.2, 0.4, NOISY.humidity), "reports 0.4 %RH"),
        (
            np.where(ago_h(NOISY) < 3.0, NOISY.humidity[-181], NOISY.humidity),
            "repeated the same values for 3.0 hours",
        ),
    ],
)
def test_a_broken_probe_is_the_cause_for_certain(humidity: Column, says: str) -> None:
    """Silence, nought and a frozen value are named, with nothing else possible."""
    target = told(NOISY, humidity)
    if "repeated" in says:
        target = replace(
            target, temperature=np.where(ago_h(target) < 3.0, 24.0, target.temperature)
        )

    cause = explain(evidence(target))

    assert cause.kind is CauseKind.PROBE
    assert cause.could_be == (CauseKind.PROBE,)
    assert cause.water_share is None
    assert says in cause.says


def test_an_unplugged_probe_is_the_cause() -> None:
    """A record that ends an hour ago says so."""
    assert "for 30 min" in (failure(NOISY.between(0, since(1.0)), NOW_MS) or "")


def test_a_slow_probe_is_not_silent_between_its_reports() -> None:
    """One report an hour is too little to split anything, yet no sign of a failure."""
    hourly = record(period_s=3600.0, now_ms=since(0.9))

    assert failure(hourly, NOW_MS) is None
    assert set(explain(evidence(hourly)).could_be) == set(CauseKind)


def test_humidity_without_temperature_cannot_be_split() -> None:
    """The temperature is as needed as the humidity."""
    lost = replace(NOISY, temperature=np.where(ago_h(NOISY) < 0.5, np.nan, NOISY.temperature))

    assert failure(lost, NOW_MS) == "The probe gives humidity but no temperature."


def test_a_coarse_probe_may_stand_still() -> None:
    """Whole percents that often stand for an hour are not stuck; nor is saturation."""
    coarse = replace(
        record(), humidity=np.rint(record().humidity), temperature=np.full(len(NOISY.at_ms), 24.0)
    )
    soaked = told(NOISY, np.where(ago_h(NOISY) < 5.0, 100.0, NOISY.humidity))

    assert failure(coarse, NOW_MS) is None
    assert failure(soaked, NOW_MS) is None


@pytest.mark.parametrize("hours", [0.6, 5.0, 20.0])
def test_a_fall_from_one_reading_to_the_next_is_a_jump(hours: float) -> None:
    """Twelve %RH at once that stay gone are seen for a day."""
    fallen = told(NOISY, np.where(ago_h(NOISY) < hours, NOISY.humidity - 12.0, NOISY.humidity))

    assert jump(evidence(fallen)) == pytest.approx(12.0, abs=2.0)


def test_a_sudden_rise_is_no_jump() -> None:
    """A misting raises humidity at once, so a high alarm tells nothing by its suddenness."""
    risen = told(NOISY, np.where(ago_h(NOISY) < 2.0, NOISY.humidity + 12.0, NOISY.humidity))

    assert jump(evidence(risen, Side.HIGH)) is None


@pytest.mark.parametrize("rate_per_h", [3.0, 12.0, 25.0])
def test_an_open_lid_is_no_jump(rate_per_h: float) -> None:
    """Even with the lid off the air needs minutes: an exponential fall of 25 %RH."""
    fall = 25.0 * (1.0 - np.exp(-rate_per_h * np.maximum(0.0, 1.0 - ago_h(NOISY))))

    assert jump(evidence(told(NOISY, NOISY.humidity - fall))) is None


def test_a_slow_probe_cannot_show_a_jump() -> None:
    """Between readings five minutes apart an open lid does it all."""
    slow = record(period_s=300.0)

    assert jump(evidence(told(slow, np.where(ago_h(slow) < 2.0, 40.0, slow.humidity)))) is None


def test_a_spike_is_no_jump() -> None:
    """One odd reading does not stay."""
    spike = NOISY.humidity.copy()
    spike[-60] -= 20.0

    assert jump(evidence(told(NOISY, spike))) is None
