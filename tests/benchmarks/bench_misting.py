"""How long the assessment of misting takes, step by step.

python -m tests.benchmarks.bench_misting
"""

import time
from collections.abc import Callable

from monitor.analysis.misting import Futures, Goal, Limits, Span, assess, plan, predict, seen_in_air
from tests.analysis.misting.plain import LIGHTS, Air, story

GOAL = Goal(Span(52.0, 88.0), Span(52.0, 92.0), dry_below=70.0, dry_hours=4.0)
ROUNDS = 5


def seconds(work: Callable[[], object]) -> str:
    """Processor time of the quickest of some rounds: other work on the machine does not count."""
    best = float("inf")
    for _ in range(ROUNDS):
        before = time.process_time()
        work()
        best = min(best, time.process_time() - before)
    return f"{best:.2f} s"


def main() -> None:
    """Print a table."""
    told = story(14, Air(period_s=30.0))
    reported = told.reported(2)
    limits = Limits()
    found = assess(told.climate, None, reported, LIGHTS, told.end_ms, GOAL, limits)
    if found.model is None or found.plan is None:
        raise RuntimeError(found.cannot or found.plan_cannot)
    model, schedule = found.model, found.plan.proposals[0].schedule
    rows = {
        "mistings found in the air": lambda: seen_in_air(told.climate, LIGHTS),
        "assessment without a plan": lambda: assess(
            told.climate, None, reported, LIGHTS, told.end_ms
        ),
        "assessment with a plan": lambda: assess(
            told.climate, None, reported, LIGHTS, told.end_ms, GOAL, limits
        ),
        "plan alone": lambda: plan(model, GOAL, limits),
        "one schedule predicted": lambda: predict(Futures(model), schedule, GOAL, limits),
    }
    print(f"| 14 days, {len(told.climate):,} readings of one probe | time |\n| --- | ---: |")
    for what, work in rows.items():
        print(f"| {what} | {seconds(work)} |")


if __name__ == "__main__":
    main()
