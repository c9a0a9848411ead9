"""Whether alarms come when they should, once, with the right reason; docs/alarm-proof.md.

Run from the top of the repository: ``python -m tests.studies.study_alarms [--quick]``. It plays
each story in simulated rooms drawn at random until so many alarms were due, feeds what the probes
report to the alarm desk as it would come in, explains each alarm as it is raised and compares with
what was due. Then it rehearses quiet months. It prints the tables of docs/alarm-proof.md.
"""

import argparse
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.alarms.model import DAEMON, Alarm, Condition
from monitor.alarms.rehearsal import LEAD_IN_MS, Part, regimes, rehearse
from monitor.analysis.causes import explain
from monitor.setup.alarming import AlarmSettings
from monitor.species.library import Library, load_library
from monitor.times import HOUR_MS, MINUTE_MS, SECOND_MS
from tests.studies.alarm_desk import TURN_MS, hear
from tests.studies.alarm_rooms import PLOTS, Due, Story, World, play
from tests.studies.quiet_months import KNOWN_DAYS, Month, demo_months, random_months

SEED = 20261127
ROOMS, MONTHS = 20, 60
DRAWS = 8
"""At most so many times as many rooms are drawn as are wanted: in some nothing is ever due."""
DELAYS_S = (300, 600, 1200, 1800)
CRASH_S = HOUR_MS / SECOND_MS
CRASHES = (Story.MISTER, Story.LID, Story.MAT, Story.HEATING)
SETTINGS = AlarmSettings()


@dataclass
class Score:
    """One story over many rooms."""

    story: Story
    drawn: int = 0
    worlds: list[World] = field(default_factory=list)
    struck: int = 0
    """Enclosures in which an alarm was due, more than one if the humidity was back in between."""
    due: int = 0
    raised: int = 0
    missed: int = 0
    needless: int = 0
    notified: int = 0
    right: int = 0
    held: int = 0
    periods: list[float] = field(default_factory=list)
    """From the end of the on-delay to the raising, in periods of the probe."""
    true_min: list[float] = field(default_factory=list)
    """From the true crossing to the raising, minutes."""

    def add(self, world: World) -> None:
        """Play, compare, count."""
        due = expected(world)
        heard = hear(world)
        self.worlds.append(world)
        self.due += len(due)
        self.struck += len({each.tank for each in due})
        self.raised += len(heard.raised)
        self.notified += heard.notified
        rest = list(heard.raised)
        for each in due:
            alarm = next((a for a in rest if a.point.place == each.tank and _near(a, each)), None)
            if alarm is None:
                self.missed += 1
                continue
            rest.remove(alarm)
            self._compare(world, each, alarm)
        self.needless += len(rest)

    def _compare(self, world: World, due: Due, alarm: Alarm) -> None:
        delay_ms = alarm.raised_at_ms - due.crossed_ms - _delay_ms(alarm, world)
        self.periods.append(delay_ms / _period_ms(alarm, world))
        if due.truly_ms is not None:
            self.true_min.append((alarm.raised_at_ms - due.truly_ms) / MINUTE_MS)
        cause = PLOTS[self.story].cause
        if alarm.point.condition in (Condition.SILENT, Condition.BROKER):
            self.right += cause == alarm.point.condition
            self.held += cause == alarm.point.condition
            return
        limit = alarm.limit if alarm.limit is not None else 0.0
        found = explain(
            world.evidence(alarm.point.place, alarm.since_ms, alarm.raised_at_ms, limit)
        )
        self.right += found.kind == cause
        self.held += cause in found.could_be

    def row(self) -> str:
        """As a line of the table."""
        late = f"{max(self.periods):.2f}" if self.periods else "-"
        true = "-"
        if self.true_min:
            true = f"{np.median(self.true_min):.0f} / {max(self.true_min):.0f}"
        return (
            f"| {self.story} | {PLOTS[self.story].cause} | {len(self.worlds)} of {self.drawn} "
            f"| {self.struck} | {self.due} "
            f"| {self.raised} | {self.missed} | {self.needless} | {self.notified} "
            f"| {self.right} | {self.held} | {late} | {true} |"
        )


def expected(world: World) -> list[Due]:
    """The alarms that are due in a story, by the truth and the readings."""
    if world.story is Story.UNPLUGGED:
        tank = world.setup.enclosure[0]
        told = world.record.readings[tank.id, tank.probe[0].id].at_ms
        return [Due(tank.id, int(told[told < world.fault_ms][-1]), None)]
    if world.story is Story.BROKER:
        # One for the broker, not one for each probe.
        return [Due(DAEMON, world.fault_ms, None)]
    return world.due(SETTINGS.on_delay_s, SETTINGS.off_delay_s)


def play_all(story: Story, rooms: int, seed: int) -> Score:
    """Play a story until alarms were due in so many rooms.

    Rooms in which the weather alone brings an alarm (the twin without fault has one due too) are
    left out, and so are those in which the fault never does.
    """
    score = Score(story)
    number = list(Story).index(story)
    while len(score.worlds) < rooms and score.drawn < DRAWS * rooms:
        world = play(story, np.random.default_rng([seed, number, score.drawn]))
        score.drawn += 1
        calm = world.due(SETTINGS.on_delay_s, SETTINGS.off_delay_s, calm=True)
        if not calm and expected(world):
            score.add(world)
    return score


@dataclass
class Quiet:
    """Calls over quiet months under one on-delay."""

    climate: list[float] = field(default_factory=list)
    """A week, by enclosure."""
    silence: list[float] = field(default_factory=list)

    def add(self, month: Month, library: Library, settings: AlarmSettings) -> None:
        """Rehearse a month."""
        begin_ms = month.start_ms - LEAD_IN_MS
        tracks = {key: track.between(begin_ms, month.end_ms) for key, track in month.tracks.items()}
        run = rehearse(
            regimes(month.enclosure, library, settings, begin_ms, month.end_ms),
            [Part(month.end_ms, tracks)],
            month.start_ms,
        )
        silent = [alarm.point.condition is Condition.SILENT for alarm in run.raised if alarm.called]
        self.silence.append(sum(silent) / month.weeks)
        self.climate.append((len(silent) - sum(silent)) / month.weeks)

    def cells(self) -> str:
        """Mean a week, enclosures with no more than one a week, the worst; silences a week."""
        rates = np.array(self.climate)
        return (
            f"{rates.mean():.2f} | {np.count_nonzero(rates <= 1.0)} of {len(rates)} "
            f"| {rates.max():.1f} | {np.mean(self.silence):.2f}"
        )


@dataclass
class Report:
    """All that the study measures."""

    stories: list[Score]
    quiet: dict[tuple[str, int], Quiet] = field(default_factory=dict)

    def crashes(self, on_delay_s: int) -> tuple[list[float], int, int]:
        """True crashes of an hour or more: minutes to the alarm, how many, how many missed.

        The alarm is taken where it is due: the first table shows that it comes there.
        """
        minutes: list[float] = []
        count = missed = 0
        for world in (w for s in self.stories if s.story in CRASHES for w in s.worlds):
            due = {d.tank: d for d in reversed(world.due(on_delay_s, SETTINGS.off_delay_s))}
            for tank, crossed_ms in world.crashes(CRASH_S):
                count += 1
                if tank not in due:
                    missed += 1
                    continue
                raised_ms = due[tank].crossed_ms + SECOND_MS * on_delay_s
                minutes.append((raised_ms - crossed_ms) / MINUTE_MS)
        return minutes, count, missed


def study(rooms: int, months: int, seed: int = SEED) -> Report:
    """Play every story in so many rooms, then rehearse so many quiet months."""
    report = Report([play_all(story, rooms, seed) for story in Story])
    library = load_library()
    drawn = [random_months(np.random.default_rng([seed, 100, n])) for n in range(months)]
    kinds: dict[str, Iterable[Month]] = {
        f"ranges from {days} days": [pair[n] for pair in drawn if not pair[n].dries]
        for n, days in enumerate(KNOWN_DAYS)
    }
    kinds["the same, but drying out"] = [pair[-1] for pair in drawn if pair[-1].dries]
    kinds["the demo's room, its own ranges"] = demo_months()
    for name, found in kinds.items():
        for delay_s in DELAYS_S:
            quiet = report.quiet[name, delay_s] = Quiet()
            for month in found:
                quiet.add(month, library, AlarmSettings(on_delay_s=delay_s))
    return report


def markdown(report: Report) -> str:
    """The tables of docs/alarm-proof.md."""
    return "\n".join((_stories(report), "", _quiet(report)))


def _stories(report: Report) -> str:
    head = (
        "| what happens | expected cause | rooms, of drawn | enclosures struck | alarms due "
        "| raised | missed | needless | notifications | cause right | set holds it "
        "| raised after the on-delay, periods, worst "
        "| after the true crossing, min, median / worst |"
    )
    return "\n".join((head, "|---" * 13 + "|", *(score.row() for score in report.stories)))


def _quiet(report: Report) -> str:
    head = (
        "| quiet months | on-delay, min | climate calls a week | enclosures at one a week or less "
        "| worst enclosure | silence calls a week | crashes of 1 h or more: noticed after, min, "
        "median / worst | missed |"
    )
    rows = []
    for (name, delay_s), quiet in report.quiet.items():
        minutes, count, missed = report.crashes(delay_s)
        noticed = f"{np.median(minutes):.0f} / {max(minutes):.0f}" if minutes else "-"
        rows.append(
            f"| {name} | {delay_s // 60} | {quiet.cells()} | {noticed} | {missed} of {count} |"
        )
    return "\n".join((head, "|---" * 8 + "|", *rows))


def _near(alarm: Alarm, due: Due) -> bool:
    """Whether an alarm is about a crossing: dated from it, give or take a report."""
    return abs(alarm.since_ms - due.crossed_ms) <= 5 * MINUTE_MS


def _period_ms(alarm: Alarm, world: World) -> float:
    """How often the alarm could have come: with each reading, or with each look at the clock."""
    if alarm.point.condition is Condition.BROKER:
        return TURN_MS
    probe = next(p for p in world.scenario.probes if (p.owner, p.id) == alarm.point[:2])
    return SECOND_MS * probe.period_s


def _delay_ms(alarm: Alarm, world: World) -> int:
    if alarm.point.condition is Condition.BROKER:
        return round(SETTINGS.broker_on_delay_s * SECOND_MS)
    if alarm.point.condition is not Condition.SILENT:
        return round(SETTINGS.on_delay_s * SECOND_MS)
    place = next(each for each in world.setup.places if each.id == alarm.point.place)
    return next(each.silence_ms for each in place.probe if each.id == alarm.point.probe)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rooms", type=int, default=ROOMS)
    parser.add_argument("--months", type=int, default=MONTHS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--quick", action="store_true", help="4 rooms a story, 4 months")
    options = parser.parse_args(arguments)
    begin = time.monotonic()
    sizes = (4, 4) if options.quick else (options.rooms, options.months)
    print(markdown(study(sizes[0], sizes[1], options.seed)))
    print(f"{time.monotonic() - begin:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
