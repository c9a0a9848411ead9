"""How often the cause of a humidity alarm is named right, and the forecast holds; docs/causes.md.

Run from the top of the repository: ``python -m tests.studies.study_causes [--alarms 420]``. It
draws unseen simulated scenarios until so many have raised an alarm, explains each with all probes
and with fewer, and prints the tables of docs/causes.md. The thresholds were chosen on other seeds.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from copy import deepcopy
from dataclasses import dataclass, field

import numpy as np

from monitor.analysis.causes import CauseKind, Evidence, Side, explain
from monitor.simulation.random_scenarios import Kind
from monitor.times import HOUR_MS, MINUTE_MS
from tests.studies.forecasting import Backtest
from tests.studies.scenarios import HIGH_KINDS, SILENT, Alarm, alarm, draw, draw_high

SEED = 20261126
"""First of the seeds of the study; the thresholds were chosen on seeds of another family."""

KINDS = [kind for kind in Kind if kind not in SILENT]
SETUPS: dict[str, Callable[[Alarm], Evidence]] = {
    "2 probes + room": lambda a: a.evidence(),
    "2 probes": lambda a: a.evidence(room=False),
    "1 probe + room": lambda a: a.evidence(second=False),
    "1 probe": lambda a: a.evidence(second=False, room=False),
}
FULL = "2 probes + room"
TIMES: dict[str, Callable[[Alarm], int]] = {
    "5 min after the crossing": lambda a: a.since_ms + 5 * MINUTE_MS,
    "raised (20 min)": lambda a: a.raised_ms,
    "1 h later, if it stands": lambda a: a.raised_ms + HOUR_MS,
}
SHORT: dict[str, Callable[[Alarm], Evidence]] = {
    "3 days of history": lambda a: a.evidence(days=3.2),
    "1 day": lambda a: a.evidence(days=1.5),
    "none (run-up only)": lambda a: a.evidence(days=20 / 24),
}


@dataclass
class Score:
    """Counts over explained alarms."""

    confusion: Counter[tuple[CauseKind, CauseKind]] = field(default_factory=Counter)
    kinds: Counter[tuple[str, bool]] = field(default_factory=Counter)
    alarms: int = 0
    right: int = 0
    single: int = 0
    single_right: int = 0
    held: int = 0
    named: int = 0
    faults_as_swing: int = 0
    shares: int = 0
    shares_held: int = 0
    slowest_ms: float = 0.0

    def add(self, alarm: Alarm, evidence: Evidence) -> None:
        """Explain and count."""
        begin = time.perf_counter()
        cause = explain(evidence)
        self.slowest_ms = max(self.slowest_ms, 1000 * (time.perf_counter() - begin))
        truth = alarm.truth(evidence.now_ms)
        right = cause.kind is truth
        swing = truth is CauseKind.SWING
        self.alarms += 1
        self.right += right
        self.held += truth in cause.could_be
        self.named += len(cause.could_be)
        self.confusion[truth, cause.kind] += 1
        self.kinds[alarm.world.kind, right] += 1
        self.faults_as_swing += cause.kind is CauseKind.SWING and not swing
        if alarm.world.faults < 2 and not swing:
            self.single += 1
            self.single_right += right
        inside = (CauseKind.DRYING, CauseKind.WARMING, CauseKind.MIXED)
        if truth in inside and cause.kind in inside:
            low, high = cause.water_share_low, cause.water_share_high
            true = float(np.clip(alarm.true_share(evidence.now_ms), 0.0, 1.0))
            self.shares += 1
            self.shares_held += low is not None and high is not None and low <= true <= high

    def row(self, name: str) -> str:
        """As a line of a table."""
        return (
            f"| {name} | {self.alarms} | {share(self.right, self.alarms)} "
            f"| {share(self.single_right, self.single)} | {share(self.held, self.alarms)} "
            f"| {self.named / max(1, self.alarms):.1f} | {self.faults_as_swing} |"
        )


@dataclass
class Report:
    """All that the study measures."""

    draws: int = 0
    setups: dict[str, Score] = field(default_factory=lambda: _scores(SETUPS))
    short: dict[str, Score] = field(default_factory=lambda: _scores(SHORT))
    times: dict[str, Score] = field(default_factory=lambda: _scores(TIMES))
    inside: Score = field(default_factory=Score)
    high: Score = field(default_factory=Score)
    alike: Score = field(default_factory=Score)
    forecast: Backtest = field(default_factory=Backtest)

    @property
    def full(self) -> Score:
        """With all probes, when the alarm was raised."""
        return self.setups[FULL]

    def add(self, found: Alarm) -> None:
        """Explain an alarm in every way."""
        for name, evidence in SETUPS.items():
            self.setups[name].add(found, evidence(found))
        for name, evidence in SHORT.items():
            self.short[name].add(found, evidence(found))
        for name, when in TIMES.items():
            if found.stands(when(found)):
                self.times[name].add(found, found.evidence(when(found)))


def _scores(names: Iterable[str]) -> dict[str, Score]:
    return {name: Score() for name in names}


def share(part: int, whole: int) -> str:
    """A proportion with the half-width of its 95 % interval (normal approximation)."""
    if not whole:
        return "-"
    p = part / whole
    return f"{p:.3f} ± {1.96 * np.sqrt(p * (1 - p) / whole):.3f}"


def study(alarms: int, seed: int = SEED) -> Report:
    """Draw, explain and count: so many alarms, and a quarter of that for each side table."""
    report = Report()
    while report.full.alarms < alarms:
        rng = np.random.default_rng([seed, report.draws])
        report.draws += 1
        world = draw(rng, KINDS[int(rng.integers(len(KINDS)))])
        found = alarm(world, rng)
        report.forecast.try_on(world, found, rng)
        hidden = alarm(world, rng, inside=True) if world.faults else None
        if hidden is not None and report.inside.alarms < alarms / 4:
            report.inside.add(hidden, hidden.evidence())
        if found is not None:
            report.add(found)
    report.alike = deepcopy(report.full)
    _top_up(report.alike, alarms // 20, seed)
    _rise(report.high, alarms // 4, seed)
    return report


def _top_up(score: Score, each: int, seed: int) -> None:
    """Draw the kinds that seldom raise an alarm until there are enough of each to judge."""
    for number, kind in enumerate(KINDS):
        for trial in range(12 * each):
            if score.kinds[kind.value, True] + score.kinds[kind.value, False] >= each:
                break
            rng = np.random.default_rng([seed, 1, number, trial])
            found = alarm(draw(rng, kind), rng)
            if found is not None:
                score.add(found, found.evidence())


def _rise(score: Score, alarms: int, seed: int) -> None:
    """High alarms, the kinds in turn."""
    kinds = list(HIGH_KINDS)
    for trial in range(12 * alarms):
        if score.alarms >= alarms:
            break
        rng = np.random.default_rng([seed, 2, trial])
        found = alarm(draw_high(rng, kinds[trial % len(kinds)]), rng, Side.HIGH)
        if found is not None:
            score.add(found, found.evidence())


def markdown(report: Report) -> str:
    """The tables of docs/causes.md."""
    full = report.full
    columns = ("alarms", "right cause", "right, single causes", "set holds the truth")
    more = ("causes in the set", "faults called swing")
    head = f"| {{}} | {' | '.join(columns + more)} |"
    rule = "|---|---|---|---|---|---|---|"

    def block(title: str, what: str, scores: Iterable[tuple[str, Score]]) -> str:
        rows = "\n".join(score.row(name) for name, score in scores)
        return f"**{title}**\n\n{head.format(what)}\n{rule}\n{rows}\n"

    return "\n".join(
        (
            f"{report.draws} scenarios drawn, {full.alarms} raised an alarm.\n",
            block("With the probes at hand", "probes", report.setups.items()),
            block("With less history (2 probes + room)", "history", report.short.items()),
            block("As time goes by (2 probes + room)", "explained", report.times.items()),
            block(
                "Harder and mirrored (2 probes + room)",
                "alarms",
                (
                    ("limits inside the usual swing, faults only", report.inside),
                    ("high alarms", report.high),
                    ("all kinds alike often", report.alike),
                ),
            ),
            _confusion("Cause (down) and answer (across), 2 probes + room", full),
            _kinds(report.alike),
            "80 % intervals of the water share that held the true one:",
            f"{share(full.shares_held, full.shares)} ({full.shares} alarms).\n",
            f"Slowest explanation: {full.slowest_ms:.0f} ms.\n",
            report.forecast.markdown(),
        )
    )


def _confusion(title: str, score: Score) -> str:
    kinds = list(CauseKind)
    rows = [
        f"| {truth} | "
        + " | ".join(str(score.confusion[truth, kind] or "") for kind in kinds)
        + " |"
        for truth in kinds
    ]
    head = "| | " + " | ".join(kinds) + " |"
    return "\n".join((f"**{title}**\n", head, "|---" * (len(kinds) + 1) + "|", *rows, ""))


def _kinds(score: Score) -> str:
    names = sorted({name for name, _ in score.kinds})
    rows = [
        f"| {name.replace('_', ' ')} | {score.kinds[name, True] + score.kinds[name, False]} "
        f"| {score.kinds[name, True]} |"
        for name in names
    ]
    return "\n".join(
        (
            "**By what happened (2 probes + room)**\n",
            "| scenario | alarms | right |",
            "|---|---|---|",
            *rows,
            "",
        )
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--alarms", type=int, default=420)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--quick", action="store_true", help="60 alarms")
    options = parser.parse_args(arguments)
    begin = time.monotonic()
    print(markdown(study(60 if options.quick else options.alarms, options.seed)))
    print(f"{time.monotonic() - begin:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
