"""What speaks against a probe, and what does not."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.trust import Advice, Check, Confidence, Past, trust
from monitor.analysis.trust.budget import UNCALIBRATED_RH, uncertainty_of
from monitor.setup.calibration import Drift
from monitor.species.ranges import Zone
from monitor.times import DAY_MS
from tests.analysis.trust.pasts import NOW_MS, certificate, past

CANOPY = past("a")


def found(*pasts: Past) -> dict[str, dict[Check, Advice]]:
    """Advice by probe and check."""
    return {
        each.probe: {advice.check: advice for advice in each.advice}
        for each in trust(pasts, NOW_MS)
    }


def nothing(*pasts: Past) -> bool:
    """Whether all of them are left in peace."""
    return not any(found(*pasts).values())


def test_probes_in_order_are_left_in_peace() -> None:
    """Three good ones of a zone, one of them 2 K warmer in the same air, one in another zone."""
    pasts = [
        CANOPY,
        past("b", seed=2),
        past("c", warmer=2.0, seed=3),
        past("d", zone=Zone.FLOOR, seed=4),
    ]

    assert nothing(*pasts)
    (first, *_) = trust(pasts, NOW_MS)
    assert first.says == "Nothing speaks against it; believe it to ±4.0 %RH."


def test_nothing_is_said_of_what_is_not_known() -> None:
    """A new probe, one without readings, a lonely one."""
    empty = replace(
        CANOPY, at_ms=CANOPY.at_ms[:0], temperature=CANOPY.temperature[:0],
        humidity=CANOPY.humidity[:0],
    )  # fmt: skip

    assert nothing(empty)
    assert nothing(empty, replace(past("b"), mistings=()))
    told = found(CANOPY.since(NOW_MS - DAY_MS), past("b", wrong=lambda rh, _: rh - 15))
    assert set(told["a"]) | set(told["b"]) <= {Check.NEVER_SATURATED}


def test_two_probes_that_disagree_accuse_each_other() -> None:
    """9 %RH apart in the same air is more than both may be off; which one it is nobody knows."""
    told = found(CANOPY, past("b", wrong=lambda rh, _: rh - 9.0, seed=2))

    for probe in "ab":
        advice = told[probe][Check.DISAGREES]
        assert advice.confidence is Confidence.POSSIBLE
        assert "nobody knows" in advice.says
        assert abs(advice.figures["above_pct"]) == pytest.approx(9.0, abs=0.7)
    assert told["a"][Check.DISAGREES].figures["above_pct"] > 0
    assert "%RH less than a in the same air" in told["b"][Check.DISAGREES].says


def test_within_their_uncertainty_they_agree() -> None:
    """4 %RH apart is what two small sensors may be."""
    assert nothing(CANOPY, past("b", wrong=lambda rh, _: rh - 4.0, seed=2))


def test_the_odd_one_out_of_three_is_known() -> None:
    """Only that one is told, and it is likely."""
    told = found(CANOPY, past("b", seed=2), past("c", wrong=lambda rh, _: rh - 12.0, seed=3))

    assert set(told["c"]) >= {Check.DISAGREES}
    assert told["c"][Check.DISAGREES].confidence is Confidence.LIKELY
    assert Check.DISAGREES not in told["a"]
    assert Check.DISAGREES not in told["b"]


def test_a_calibrated_probe_is_believed() -> None:
    """Of two the one without a certificate is told."""
    told = found(
        replace(CANOPY, certificate=certificate()),
        past("b", wrong=lambda rh, _: rh + 9.0, seed=2),
    )

    assert Check.DISAGREES not in told["a"]
    assert told["b"][Check.DISAGREES].confidence is Confidence.LIKELY


def test_a_probe_that_drifts_away_is_told() -> None:
    """0.15 %RH a day over four weeks, seen long before the two disagree; 0.01 a day is nothing."""
    drifting = past("b", wrong=lambda rh, day: rh - 0.15 * (28 - day), seed=2)
    steady = past("b", wrong=lambda rh, day: rh - 0.01 * (28 - day), seed=2)

    told = found(CANOPY, drifting)

    assert told["b"][Check.DRIFTS].figures["drift_pct"] == pytest.approx(-0.15 * 27, abs=0.5)
    assert told["b"][Check.DRIFTS].confidence is Confidence.POSSIBLE
    assert nothing(CANOPY, steady)


def test_a_probe_that_is_never_full() -> None:
    """Cut off at 85 %RH through dozens of mistings; likely so where a neighbour gets there."""
    dull = past("b", wrong=lambda rh, _: np.minimum(rh, 85.0))

    alone = found(dull)["b"][Check.NEVER_SATURATED]
    beside = found(CANOPY, dull)["b"][Check.NEVER_SATURATED]

    assert alone.confidence is Confidence.POSSIBLE
    assert alone.figures["highest_pct"] == 85.0
    assert alone.figures["mistings"] > 50
    assert beside.confidence is Confidence.LIKELY
    assert "in the same air a comes 1" in beside.says
    assert Check.NEVER_SATURATED not in found(CANOPY)["a"]
    assert nothing(past("a", peak=0.9), past("b", peak=0.9, seed=2)), "it is the air"


def test_a_wet_sensor() -> None:
    """At 100 % through a warm day, with a drier neighbour; that it disagrees is not said again."""

    def wet(rh: np.ndarray, day: np.ndarray) -> np.ndarray:
        return np.where((day < 3.0) & (day > 1.0), 100.0, rh)

    soaked = past("b", wrong=wet, seed=2)
    alone = found(soaked)["b"][Check.SOAKED]
    beside = found(CANOPY, soaked)["b"]

    assert alone.confidence is Confidence.POSSIBLE
    assert alone.figures["hours"] == pytest.approx(48.0, abs=0.5)
    assert alone.figures["warmed_k"] == pytest.approx(4.0, abs=0.2)
    assert beside[Check.SOAKED].confidence is Confidence.LIKELY
    assert "with drier air at a beside it" in beside[Check.SOAKED].says
    assert Check.DISAGREES not in beside


def test_a_foggy_night_is_no_wet_sensor() -> None:
    """Eight hours at 100 % while it cools and nothing beside it is drier."""

    def fog(rh: np.ndarray, day: np.ndarray) -> np.ndarray:
        return np.where((day % 1.0 > 2 / 24) & (day % 1.0 < 10 / 24), 100.0, rh)

    a, b = past("a", wrong=fog), past("b", wrong=fog, seed=2)

    assert not {Check.SOAKED} & (set(found(a, b)["a"]) | set(found(a, b)["b"]))


def test_a_slow_probe() -> None:
    """Half an hour to follow a mister is slow, and likely so beside one that needs minutes."""
    slow = past("b", zone=Zone.FLOOR, lag_h=0.8)

    alone = found(slow)["b"][Check.SLOW]
    beside = found(CANOPY, slow)["b"][Check.SLOW]

    assert alone.confidence is Confidence.POSSIBLE
    assert alone.figures["lag_min"] > 15
    assert beside.confidence is Confidence.LIKELY
    assert "; a needs" in beside.says


def test_what_people_remember_is_no_stop_watch() -> None:
    """Mistings written down by hand say nothing about how fast a probe is."""
    by_hand = [replace(each, exact=False) for each in CANOPY.mistings]

    assert Check.SLOW not in found(replace(past("b", lag_h=0.8), mistings=by_hand))["b"]


def test_papers() -> None:
    """Overdue by the day; fast drift between two calibrations; both only where there is one."""
    overdue = found(replace(CANOPY, certificate=certificate(days_ago=400, due_in=-35)))["a"]
    drift = Drift(since_ms=NOW_MS - 400 * DAY_MS, humidity=75.3, drift=-4.0, uncertainty=1.2)
    fast = found(replace(CANOPY, certificate=certificate(drift=drift)))["a"]
    slight = replace(CANOPY, certificate=certificate(drift=replace_drift(drift, 1.0)))
    unsure = replace(CANOPY, certificate=certificate(drift=replace_drift(drift, 1.1)))

    assert overdue[Check.OVERDUE].says == "Its calibration was due 35 days ago."
    assert overdue[Check.OVERDUE].confidence is Confidence.CERTAIN
    assert fast[Check.DRIFTS].figures["a_year_pct"] == pytest.approx(-4.0 / 370 * 365.25, abs=0.01)
    assert nothing(slight)
    assert nothing(unsure)


def replace_drift(drift: Drift, value: float) -> Drift:
    """Another drift over the same time."""
    return drift.model_copy(update={"drift": value})


@pytest.mark.parametrize(("charge", "told"), [(None, False), (21.0, False), (20.0, True)])
def test_a_battery_that_runs_low(charge: float | None, told: bool) -> None:
    """Told at a fifth of its charge; a probe that reports none is left in peace."""
    assert (Check.BATTERY in found(replace(CANOPY, battery=charge))["a"]) is told


def test_certificates_age() -> None:
    """A year adds what a probe may drift; without one a probe is believed as bought."""
    fresh, old = certificate(days_ago=0), certificate(days_ago=730)

    assert uncertainty_of(None, 70.0, NOW_MS) == UNCALIBRATED_RH
    assert uncertainty_of(fresh, 70.0, NOW_MS) == pytest.approx(0.8)
    assert uncertainty_of(old, 70.0, NOW_MS) == pytest.approx(np.hypot(0.8, 2.0), abs=0.01)


def test_every_advice_says_what_to_do() -> None:
    """Whatever it is about, with figures and two sentences."""
    pasts: Sequence[Past] = [
        CANOPY,
        past("b", wrong=lambda rh, day: np.minimum(rh - 9 - 0.2 * (28 - day), 88.0), lag_h=0.8),
        replace(past("c"), certificate=certificate(due_in=-3)),
    ]
    advice = [each for probe in trust(pasts, NOW_MS) for each in probe.advice]

    assert {each.check for each in advice} >= {
        Check.DISAGREES, Check.DRIFTS, Check.NEVER_SATURATED, Check.SLOW, Check.OVERDUE,
    }  # fmt: skip
    for each in advice:
        assert each.figures
        assert each.says.endswith(".")
        assert each.do.endswith(".")
