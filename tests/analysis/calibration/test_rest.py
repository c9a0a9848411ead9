"""When a probe is at rest, and why it is not."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from monitor.analysis.calibration.rest import Boxed, Rest, judge_rest
from monitor.setup.calibration import CalibrationSettings, Salt
from monitor.times import HOUR_MS
from tests.studies.calibrated_probes import Fleet, box, draw_probe

START_MS = 1_795_600_000_000
SETTINGS = CalibrationSettings()
Column = npt.NDArray[np.float64]


def boxed(
    hours: float,
    humidity: Callable[[Column], Column] = lambda hour: 75.0 + 0 * hour,
    temperature: Callable[[Column], Column] = lambda hour: 21.0 + 0 * hour,
    *,
    noise: float = 0.05,
    pinned: bool = False,
) -> Boxed:
    """A reading a minute for so many hours."""
    at_ms = START_MS + 60_000 * np.arange(round(60 * hours))
    hour = (at_ms - START_MS) / HOUR_MS
    raw = humidity(hour) + noise * np.random.default_rng(3).standard_normal(len(hour))
    return Boxed(START_MS, at_ms, np.round(raw, 1), at_ms, temperature(hour), pinned)


def judged(hours: float, *args: object, **options: object) -> Rest:
    """As of the last of those hours."""
    now_ms = START_MS + round(HOUR_MS * hours)
    return judge_rest(boxed(hours, *args, **options), now_ms, SETTINGS)  # type: ignore[arg-type]


def test_a_still_probe_is_at_rest() -> None:
    """Its reading is the mean of the last hours, and as sure as its noise allows."""
    rest = judged(14)

    assert rest.rested is not None
    assert rest.rested.reading == pytest.approx(75.0, abs=0.02)
    assert rest.rested.temperature == pytest.approx(21.0)
    assert 0.005 < rest.rested.u_reading < 0.15
    assert rest.rested.count == 239  # after four hours ago, before now
    assert rest.says == "At rest at 75.00 %RH and 21.0 °C."


def test_a_probe_that_never_moves_at_all_is_at_rest() -> None:
    """A resolution of 0.1 hides all noise; the uncertainty is not nothing then."""
    rest = judged(14, noise=0.0)

    assert rest.rested is not None
    assert rest.rested.u_reading > 0.005


@pytest.mark.parametrize(
    ("rest", "says"),
    [
        (judge_rest(boxed(0), START_MS, SETTINGS), "Nothing has been heard"),
        (judged(5), "In the box for 5 h; salt and air need 12 h at least, 7 h more."),
        (judged(14, pinned=True), "the end of its scale: nobody knows what was cut off"),
        (
            judged(14, temperature=lambda hour: 21 + np.sin(hour)),
            "its temperature varied by 2.0 K",
        ),
        (judged(14, lambda hour: 75 - 0.4 * hour), "Not at rest yet: very likely between -"),
        (
            judged(14, lambda hour: 75 - 20 * np.exp(-hour / 6)),
            "are still to come; no more than 0.3 may be",
        ),
    ],
)
def test_why_it_is_not(rest: Rest, says: str) -> None:
    """One sentence with figures."""
    assert rest.rested is None
    assert says in rest.says


def test_readings_that_stayed_away_are_told() -> None:
    """Half of the last hours missing is no rest."""
    whole = boxed(14)
    kept = (whole.humidity_ms - START_MS) // HOUR_MS % 2 == 0
    holed = Boxed(
        START_MS, whole.humidity_ms[kept], whole.humidity[kept], whole.temperature_ms,
        whole.temperature, pinned=False,
    )  # fmt: skip

    rest = judge_rest(holed, START_MS + 14 * HOUR_MS, SETTINGS)

    assert rest.rested is None
    assert "Too few readings of its humidity: nothing in 3 h 30 min" in rest.says


def test_what_looks_still_may_not_be() -> None:
    """0.1 %RH an hour can hardly be seen, but with a slow probe much is still to come."""
    rest = judged(13, lambda hour: 75 - 5 * np.exp(-hour / 8))

    assert rest.rested is None
    assert rest.to_come is not None
    assert rest.to_come[1] > 0.3


@pytest.mark.slow
def test_what_is_called_at_rest_is() -> None:
    """Of 60 simulated boxings none is closed with more than half a per cent still to come."""
    chance = np.random.default_rng(11)
    boxings = [
        box(chance, Fleet(), draw_probe(chance, Fleet()), Salt.SODIUM_CHLORIDE) for _ in range(60)
    ]

    left = np.abs([each.left for each in boxings if each.rested is not None])
    assert len(left) >= 55
    assert left.max() < 0.5
    assert np.mean(left > SETTINGS.rest_within_pct) <= 0.05
