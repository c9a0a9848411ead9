"""The split of a departure into water, warmth and room, against PsychroLib and numpy."""

from math import log

import numpy as np
import pytest

from monitor.analysis.causes import Evidence, History, Side
from monitor.analysis.causes.parts import DOUBT, learn, split
from monitor.analysis.causes.rules import water_share
from tests.analysis.records import NOW_MS, Column, record, saturated, since

HOUR_AGO = since(0.5)


def last_hour(before: Column, after: Column, ago: Column) -> Column:
    """A change that set in one hour ago."""
    return np.where(ago <= 1.0, after, before)


def evidence(target: History, side: Side = Side.LOW, **more: object) -> Evidence:
    """An alarm half an hour old."""
    return Evidence(target, HOUR_AGO, NOW_MS, 60.0, side, **more)  # type: ignore[arg-type]


def drier(share: float) -> History:
    """A fifth (or so) of the water gone for an hour, at the same temperature."""
    return record(vapour=lambda e, ago: last_hour(e, (1.0 - share) * e, ago))


def warmer(kelvin: float) -> History:
    """Warmer for an hour, with the same water."""
    return record(temperature=lambda t, ago: last_hour(t, t + kelvin, ago))


def test_lost_water_is_water() -> None:
    """A loss of 20 % of the vapour at constant temperature is -ln 0.8 of water and no warmth."""
    parts = split(evidence(drier(0.2)))

    assert parts.vapour == pytest.approx(-log(0.8), abs=0.02)
    assert parts.saturation == pytest.approx(0.0, abs=0.01)
    assert water_share(parts).value == 1.0
    assert parts.days == 7


def test_warmth_is_warmth() -> None:
    """Three kelvin at constant vapour are ln e_s(T + 3) - ln e_s(T) by PsychroLib and no water."""
    target = warmer(3.0)
    t = target.temperature[-1:]
    expected = float(np.log(saturated(t) / saturated(t - 3.0))[0])

    parts = split(evidence(target))

    assert parts.saturation == pytest.approx(expected, abs=0.01)
    assert parts.vapour == pytest.approx(0.0, abs=0.02)
    assert water_share(parts).value == 0.0


@pytest.mark.parametrize(("lost", "kelvin"), [(0.1, 2.0), (0.3, 1.5), (0.15, 5.0)])
def test_both_together_add_up(lost: float, kelvin: float) -> None:
    """The parts are those of each alone, and their sum is the departure of ln RH."""
    target = record(
        vapour=lambda e, ago: last_hour(e, (1.0 - lost) * e, ago),
        temperature=lambda t, ago: last_hour(t, t + kelvin, ago),
    )
    usual = record()

    parts = split(evidence(target))

    assert parts.total == pytest.approx(parts.vapour + parts.saturation)
    assert parts.total == pytest.approx(log(usual.humidity[-1] / target.humidity[-1]), abs=0.03)
    true = -log(1.0 - lost) / parts.total
    interval = water_share(parts)
    assert interval.value == pytest.approx(true, abs=0.06)
    assert interval.low <= interval.value <= interval.high


def test_a_high_alarm_mirrors_a_low_one() -> None:
    """More water and colder air are positive parts when the upper limit was crossed."""
    wetter = split(evidence(record(vapour=lambda e, ago: last_hour(e, 1.2 * e, ago)), Side.HIGH))
    colder = split(evidence(warmer(-3.0), Side.HIGH))

    assert wetter.vapour == pytest.approx(log(1.2), abs=0.02)
    assert water_share(wetter).value == 1.0
    assert colder.saturation == pytest.approx(0.18, abs=0.02)
    assert water_share(colder).value == 0.0


def test_the_reference_is_earlier_than_the_alarm() -> None:
    """An alarm that has stood for two days is compared with the days before it, not with itself."""
    target = record(vapour=lambda e, ago: np.where(ago <= 50.0, 0.7 * e, e))

    parts = split(Evidence(target, since(49.0), NOW_MS, 60.0))

    assert parts.days == 5
    assert parts.vapour == pytest.approx(-log(0.7), abs=0.02)


def test_without_earlier_days_the_run_up_is_the_reference() -> None:
    """In a record of half a day the start of the fall stands for the usual."""
    target = record(days=0.5, vapour=lambda e, ago: last_hour(e, 0.8 * e, ago))

    parts = split(evidence(target))

    assert parts.days == 0
    assert parts.total > -log(0.8)


def test_gains_are_those_of_least_squares_where_there_is_something_to_learn() -> None:
    """Lively drivers: what numpy.linalg.lstsq gives; still ones: the usual gains."""
    rng = np.random.default_rng(3)
    drivers = tuple(np.repeat(rng.normal(0.0, 2.0, (7, 24)), 12, axis=1) for _ in range(2))
    follower = 0.7 * drivers[0] - 0.2 * drivers[1] + rng.normal(0.0, 0.01, drivers[0].shape)
    x = np.stack([d[:, ::12].ravel() for d in drivers], axis=1)
    y = follower.reshape(-1, 12).mean(axis=1)
    expected, *_ = np.linalg.lstsq(x, y, rcond=None)

    assert learn(follower, drivers, (0.4, 0.3)) == pytest.approx(expected, abs=2e-4)
    still = tuple(0.0 * d for d in drivers)
    assert learn(follower, still, (0.4, 0.3)) == pytest.approx([0.4, 0.3])
    assert DOUBT > 0.0


def test_what_the_room_always_does_is_taken_out() -> None:
    """A warm room, followed as on other days, leaves no warmth of the enclosure's own."""
    rng = np.random.default_rng(4)
    course = np.repeat(rng.normal(0.0, 1.0, 9 * 24), 60)
    course[-3 * 60 :] = 3.0

    def with_room(t: Column, ago: Column) -> Column:
        return t + course[-len(ago) :]

    parts = split(evidence(record(temperature=with_room), room=record(temperature=with_room)))

    assert parts.room is not None
    assert parts.saturation > 0.15
    assert parts.heat.size == pytest.approx(0.0, abs=0.03)
    assert parts.room.push > 0.1


def test_another_probe_bears_out_what_it_feels_too() -> None:
    """A fall that a second probe shares leaves nothing unconfirmed; one it does not feel, all."""
    (felt,) = split(evidence(drier(0.3), others=(drier(0.3),))).peers
    (unfelt,) = split(evidence(drier(0.3), others=(record(),))).peers

    assert felt.unconfirmed < 0.0
    assert unfelt.unconfirmed == pytest.approx(-log(0.7), abs=0.03)
