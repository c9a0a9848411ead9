"""The criterion of enough data: how much of the time is known, and where the gaps are."""

from zoneinfo import ZoneInfo

import numpy as np

from monitor.analysis.settling.build import Bools
from monitor.analysis.settling.climate import Climate
from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import BIN_MS
from monitor.analysis.settling.trailing import Trailing
from monitor.analysis.settling.wording import at_time, count
from monitor.species.settling import SettlingLimits
from monitor.times import HOUR_MS

NAMED_GAPS = 3


def coverage(climate: Climate, clock: ZoneInfo, limits: SettlingLimits) -> Criterion:
    """Whether a zone's readings cover the days that its climate is judged over."""
    days, window = climate.days, limits.even_days
    # Days before the first reading count as nothing known, so the window is always full.
    padded = np.concatenate([np.zeros(window), climate.coverage])
    trailing = Trailing(
        padded, window, lambda shares: float(shares.mean()), lambda share: share >= limits.coverage
    )
    share = trailing.value or 0.0
    told = (
        f"{climate.zone}: readings cover {share * window:.1f} of the last {count(window, 'day')} "
        f"({100 * share:.0f} %)"
    )
    gaps = _gaps(climate, clock, limits)
    return Criterion(
        name=Name.COVERAGE,
        zone=climate.zone,
        quantity=None,
        value=100 * share,
        unit="%",
        required=f"at least {100 * limits.coverage:g} % of the last {count(window, 'day')}",
        result=Result.PASS if share >= limits.coverage else Result.UNKNOWN,
        says=f"{told}; none from {' and from '.join(gaps)}." if gaps else f"{told}.",
        earliest=days.ahead(trailing.days_to_go()),
    )


def _gaps(climate: Climate, clock: ZoneInfo, limits: SettlingLimits) -> list[str]:
    """The longest gaps of the days judged, in the order of time."""
    days = climate.days
    judged = int(np.searchsorted(days.day, len(days) - limits.even_days))
    # What came before the first reading is no gap.
    first = max(judged, int(np.argmax(np.append(climate.known, True))))
    runs = [
        (begin, end)
        for begin, end in unknown_runs(climate.known[first:])
        if (end - begin) * BIN_MS >= limits.named_gap_h * HOUR_MS
    ]
    longest = sorted(runs, key=lambda run: run[0] - run[1])[:NAMED_GAPS]
    edge_ms = days.edge_ms[0] + BIN_MS * first
    return [
        f"{at_time(int(edge_ms + BIN_MS * begin), clock)} "
        f"to {at_time(int(edge_ms + BIN_MS * end), clock)}"
        for begin, end in sorted(longest)
    ]


def unknown_runs(known: Bools) -> list[tuple[int, int]]:
    """Where nothing is known: first and, exclusive, last position of each run."""
    edges = np.diff(np.concatenate([[True], known, [True]]).astype(np.int8))
    return list(
        zip(np.flatnonzero(edges < 0).tolist(), np.flatnonzero(edges > 0).tolist(), strict=True)
    )
