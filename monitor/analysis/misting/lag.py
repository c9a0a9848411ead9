"""Whether the probe is slow: its humidity follows late what its temperature shows at once.

When a lamp warms the air, relative humidity falls though the vapour stays. A probe whose humidity
lags by L minutes then shows vapour that is not there: content (ln e_s - [ln e_s lagged by L]). The
L at which taking that away leaves the least is the lag. Mistings do not enter: a slow probe and
mist that evaporates slowly look alike there.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.analysis.misting.climate import Grid
from monitor.analysis.misting.detection import Rise
from monitor.analysis.misting.mistings import Misting
from monitor.analysis.misting.observation import LID_S, filled, lagged

TRIED_MIN = (0.0, 1.0, 2.0, 3.0, 4.5, 6.0, 8.0, 11.0, 15.0, 20.0)
PROMPT_MIN = 2.0
"""Up to this a probe counts as prompt: wet surfaces that warm up look like so much lag."""
SLOW_MIN = 5.0
CLEAR = 1.1
"""How much more a prompt probe must leave unexplained before another is believed to be slow."""
AFTER_MISTING_S = 3600.0
APART_S = 600.0
FEWEST = 100


class Lag(NamedTuple):
    """Minutes by which humidity follows late; None where nothing warms or cools clearly enough."""

    minutes: float | None

    @property
    def slow(self) -> bool:
        """Whether the probe is too slow for the balance to be trusted."""
        return self.minutes is not None and self.minutes >= SLOW_MIN


UNKNOWN_LAG = Lag(None)


def probe_lag(grid: Grid, mistings: Sequence[Misting], losses: Sequence[Rise]) -> Lag:
    """Measure the lag on a grid of a minute or two.

    Args:
        grid: means over bins short beside the lag; the room is not needed.
        mistings: after which an hour is left out.
        losses: sudden losses, after which a quarter of an hour is left out.
    """
    calm = np.isfinite(grid.content) & (grid.highest_humidity < 97.0)
    disturbed = [(each.at_ms, AFTER_MISTING_S) for each in mistings]
    disturbed += [(each.at_ms, LID_S) for each in losses]
    for at_ms, lasts_s in disturbed:
        first = max(0, grid.bin_of(at_ms))
        calm[first : max(0, grid.bin_of(at_ms + round(1000 * lasts_s)) + 1)] = False
    apart = round(APART_S / grid.step_s)
    pairs = calm[apart:] & calm[:-apart]
    if pairs.sum() < FEWEST:
        return Lag(None)
    content, log_saturated = filled(grid.content), np.log(filled(grid.saturated))

    def left(lag_min: float) -> float:
        behind = log_saturated
        if lag_min > 0.0:
            behind = lagged(log_saturated, lag_min / 60.0, grid.step_s / 3600.0)
        true = content * (1.0 - (log_saturated - behind))
        return float(np.var((true[apart:] - true[:-apart])[pairs]))

    rest = np.array([left(lag_min) for lag_min in TRIED_MIN])
    best = int(np.argmin(rest))
    prompt = rest[TRIED_MIN.index(PROMPT_MIN)]
    return Lag(TRIED_MIN[best] if prompt > CLEAR * rest[best] else None)
