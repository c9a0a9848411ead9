"""Which schedules keep a goal, by draws of the days to come."""

from typing import NamedTuple

from monitor.analysis.misting.futures import Futures
from monitor.analysis.misting.prediction import outlook
from monitor.analysis.misting.schedule import Goal, Schedule, from_steps
from monitor.analysis.misting.search import Candidate, Search

TRIED = 5
DRY_DAYS = 0.8
"""Share of the days that must dry out as long as they should."""


class Kept(NamedTuple):
    """A schedule that keeps the goal, and the share of the time that it promises."""

    schedule: Schedule
    promised: float
    candidate: Candidate


class Rating:
    """Tells which schedules keep the goal; ``kept`` are those.

    All are rated by the same draws, so that they differ by what they are.
    """

    def __init__(self, futures: Futures, goal: Goal, search: Search) -> None:
        self.kept: list[Kept] = []
        self._futures, self._goal, self._search = futures, goal, search
        self._known: dict[Schedule, bool] = {}

    def keeps(self, candidate: Candidate) -> bool:
        """Whether a schedule keeps the goal once its mistings are put where they help most."""
        best = self._search.polished(candidate)
        schedule = from_steps(best.seconds, self._search.days.step_h)
        if schedule not in self._known:
            promised, dry_days = outlook(self._futures, schedule, self._goal)
            kept = promised >= self._goal.share and dry_days >= DRY_DAYS
            self._known[schedule] = kept
            if kept:
                self.kept.append(Kept(schedule, promised, best))
        return self._known[schedule]


def feasible(futures: Futures, goal: Goal, search: Search) -> bool:
    """Whether one of the best schedules that a search finds will do."""
    rating = Rating(futures, goal, search)
    rungs = sorted(
        (rung for ladder in search.ladders() for rung in ladder), key=search.worth, reverse=True
    )
    return any(rating.keeps(rung) for rung in rungs[:TRIED])
