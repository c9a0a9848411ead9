"""The moisture balance against a worked example, its closed form, and scipy's integrator.

The worked example: an enclosure of 0.1 m3 at 25 Cel in a room of 22 Cel and 45 %RH, air exchange
2.0 per hour, mass transfer 0.5 per hour from a substrate of 23.5 Cel; Magnus formula of the WMO.
Its figures were reckoned by hand and with scipy.integrate.solve_ivp before any of this was written.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from monitor.analysis.misting.balance import (
    SATURATED_FILM,
    Balance,
    State,
    content_after,
    hours_to,
    run,
    train,
)

RATE = 2.5
ASYMPTOTE = 11.098776
SATURATED = 22.966160


@pytest.mark.parametrize(
    ("hours", "content"),
    [(0.25, 17.450929), (0.5, 14.498839), (1.0, 12.072911), (2.0, 11.178738), (4.0, 11.099315)],
)
def test_drying_from_saturation_is_the_worked_example(hours: float, content: float) -> None:
    """Vapour left after a quarter of an hour to four hours, g/m3."""
    assert content_after(hours, SATURATED, ASYMPTOTE, RATE) == pytest.approx(content, abs=1e-6)


@pytest.mark.parametrize(
    ("percent", "minutes"),
    [(95, 2.4425), (90, 5.1619), (80, 11.7472), (70, 20.8526), (60, 35.7032)],
)
def test_dry_out_times_are_the_worked_example(percent: float, minutes: float) -> None:
    """From saturation to 95 down to 60 %RH; the example gives four decimals of a minute."""
    hours = hours_to(0.01 * percent * SATURATED, SATURATED, ASYMPTOTE, RATE)

    assert hours is not None
    assert 60.0 * hours == pytest.approx(minutes, abs=5e-5)
    assert content_after(hours, SATURATED, ASYMPTOTE, RATE) == pytest.approx(
        0.01 * percent * SATURATED, abs=1e-9
    )


def test_what_lies_beyond_the_asymptote_is_never_reached() -> None:
    """Air that goes to 48 %RH does not come to 40."""
    assert hours_to(0.40 * SATURATED, SATURATED, ASYMPTOTE, RATE) is None
    assert hours_to(ASYMPTOTE, SATURATED, ASYMPTOTE, RATE) is None


def test_trains_of_mistings_are_the_worked_example() -> None:
    """3 g/m3 twice a day and every hour: peak, trough and mean."""
    seldom, often = (train(3.0, every_h, ASYMPTOTE, RATE) for every_h in (12.0, 1.0))

    assert (seldom.peak, seldom.mean) == pytest.approx((14.098776, 11.198776), abs=1e-6)
    assert often == pytest.approx((14.367053, 11.367053, 12.298776), abs=1e-6)


def _run(balance: Balance, seconds: np.ndarray, step_h: float, start: float) -> np.ndarray:
    steps = len(seconds)
    content, _ = run(
        balance,
        np.full(steps, ASYMPTOTE),
        np.full(steps, SATURATED),
        np.zeros(steps, dtype=np.bool_),
        seconds,
        step_h,
        State(np.array(start), np.array(0.0)),
    )
    return content


def test_a_run_settles_to_the_train() -> None:
    """Ten hours of a misting each hour end at the peak and trough of the closed form."""
    step_h = 1.0 / 12.0
    seconds = np.where(np.arange(240) % 12 == 0, 10.0, 0.0)

    content = _run(Balance(RATE, RATE, 0.3, 0.0, **SATURATED_FILM), seconds, step_h, ASYMPTOTE)

    wanted = train(3.0, 1.0, ASYMPTOTE, RATE)
    assert content[-1] == pytest.approx(wanted.trough, abs=1e-6)
    assert content[-12] == pytest.approx(
        content_after(step_h, wanted.peak, ASYMPTOTE, RATE), abs=1e-6
    )


def test_misting_into_saturation_waits_until_the_film_is_gone() -> None:
    """The air stays saturated for as long as the surplus feeds the outflow, then dries as usual."""
    surplus, step_h = 4.0, 1.0 / 120.0
    seconds = np.zeros(240)
    seconds[0] = 1.0
    balance = Balance(RATE, RATE, SATURATED - ASYMPTOTE + surplus, 0.0, **SATURATED_FILM)

    content = _run(balance, seconds, step_h, ASYMPTOTE)

    wet_h = surplus / (RATE * (SATURATED - ASYMPTOTE))
    hours = step_h * np.arange(1, 241)
    wanted = np.where(
        hours <= wet_h,
        SATURATED,
        content_after(np.maximum(hours - wet_h, 0.0), SATURATED, ASYMPTOTE, RATE),
    )
    # The film breaks before it is gone, which rounds the corner.
    assert np.abs(content - wanted).max() < 0.1
    assert content[-1] == pytest.approx(wanted[-1], abs=0.02)


def test_a_run_with_a_film_is_what_scipy_integrates() -> None:
    """Film and vapour together, misted once: RK45 at 1e-10 agrees to a hundredth of a g/m3."""
    balance = Balance(1.2, 1.2, 0.0, 0.5, film_rate=3.0, film_reach=2.0, wetness=0.97)

    def rates(_t: float, state: np.ndarray) -> list[float]:
        v, w = state
        pull = 3.0 * -np.expm1(-w / 2.0) * (0.97 * SATURATED - v)
        return [1.2 * (ASYMPTOTE - v) + pull, -max(pull, 0.0)]

    step_h = 1.0 / 60.0
    seconds = np.zeros(360)
    seconds[0] = 12.0
    solved = solve_ivp(
        rates,
        (0.0, 6.0),
        [ASYMPTOTE, 6.0],
        t_eval=step_h * np.arange(1, 361),
        rtol=1e-10,
        atol=1e-12,
    )

    assert np.abs(_run(balance, seconds, step_h, ASYMPTOTE) - solved.y[0]).max() < 0.01


def test_without_a_film_a_run_is_exact_at_any_step() -> None:
    """Against scipy to 1e-6, whether the step is a minute or an hour."""
    solved = solve_ivp(
        lambda _t, v: RATE * (ASYMPTOTE - v), (0.0, 3.0), [20.0], rtol=1e-11, atol=1e-12
    )

    for steps in (180, 3):
        content = _run(
            Balance(RATE, RATE, 0.0, 0.0, **SATURATED_FILM), np.zeros(steps), 3.0 / steps, 20.0
        )
        assert content[-1] == pytest.approx(solved.y[0, -1], abs=1e-6)


def test_day_and_night_have_rates_of_their_own() -> None:
    """An hour lit at 2 per hour and an hour dark at 1 per hour make e to the power of -3."""
    content, _ = run(
        Balance(2.0, 1.0, 0.0, 0.0, **SATURATED_FILM),
        np.zeros(2),
        np.full(2, SATURATED),
        np.array([True, False]),
        np.zeros(2),
        1.0,
        State(np.array(10.0), np.array(0.0)),
    )

    assert content[-1] == pytest.approx(10.0 * np.exp(-3.0), abs=1e-9)
