"""How well the balance foretells days it was not fitted to."""

from dataclasses import dataclass

import numpy as np

from monitor.analysis.misting.balance import State, run
from monitor.analysis.misting.climate import Column, Grid
from monitor.analysis.misting.fit import Fit
from monitor.analysis.misting.futures import balance_of
from monitor.analysis.misting.state_space import SLOW_H, Observed
from monitor.analysis.misting.water import Water
from monitor.times import DAY_MS


@dataclass(frozen=True, slots=True)
class Backtest:
    """Errors on the days held out, %RH: of the balance and, beside it, of the usual day."""

    days: float
    rh_mae: float
    rh_bias: float
    rh_mae_by_hour_mean: float


def backtest(
    grid: Grid, seen: Observed, cut: int, fit: Fit, water: Water, content: Column, slow: Column
) -> Backtest:
    """Run the balance on from where the fit ended, with the mistings and temperatures that came.

    Args:
        grid: even means of the whole record.
        seen: the same as the filter took it.
        cut: the first bin that the fit did not see.
        fit: of the bins before it.
        water: by the mistings before it.
        content: v before it, given what came until then.
        slow: u likewise; it fades from its last value.
    """
    rest = slice(cut, None)
    ahead = np.arange(1, len(seen) - cut + 1)
    fading = slow[cut - 1] * np.exp(-ahead * seen.step_h / SLOW_H)
    asymptote = seen.drivers[rest] @ fit.coefficients[1:] + fading
    start = np.minimum(content[cut - 1 : cut], seen.saturated[cut - 1])
    said, _ = run(
        balance_of(fit, water),
        asymptote,
        seen.saturated[rest],
        seen.lit[rest],
        seen.misted[rest],
        seen.step_h,
        State(start, np.zeros(1)),
    )
    measured = grid.humidity[rest]
    known = np.isfinite(measured)
    error = (100.0 * said.reshape(-1) / seen.saturated[rest] - measured)[known]
    usual = _usual(grid, cut)[rest]
    return Backtest(
        days=len(ahead) * grid.step_ms / DAY_MS,
        rh_mae=float(np.abs(error).mean()),
        rh_bias=float(error.mean()),
        rh_mae_by_hour_mean=float(np.abs(usual[known] - measured[known]).mean()),
    )


def _usual(grid: Grid, cut: int) -> Column:
    """Mean humidity of the same time of day before the cut, %RH."""
    steps = round(DAY_MS / grid.step_ms)
    place = np.arange(len(grid)) % steps
    known = np.isfinite(grid.humidity) & (np.arange(len(grid)) < cut)
    count = np.bincount(place[known], minlength=steps)
    total = np.bincount(place[known], grid.humidity[known], steps)
    overall = total.sum() / max(1, count.sum())
    mean: Column = np.divide(total, count, out=np.full(steps, overall), where=count > 0)
    usual: Column = mean[place]
    return usual
