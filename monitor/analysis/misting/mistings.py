"""One list of mistings out of three sources: the mister's reports, the journal, and the air."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import exp
from statistics import median
from typing import NamedTuple

from monitor.analysis.misting.detection import STANDS_OUT, Rise
from monitor.times import MINUTE_MS


class Source(StrEnum):
    """Who knows of a misting first-hand; the air speaks where nobody else did."""

    MISTER = "mister"
    JOURNAL = "journal"
    AIR = "air"


class Reported(NamedTuple):
    """A misting that a device or a keeper told of; ``seconds`` None: unknown."""

    at_ms: int
    seconds: float | None
    source: Source


@dataclass(frozen=True, slots=True)
class Misting:
    """One misting.

    ``confidence`` (0 to 1) is that it took place; ``rise`` (g/m3) is what the air showed, None if
    nothing; ``halved_after_s`` is when half of that was gone.
    """

    at_ms: int
    seconds: float | None
    source: Source
    confidence: float
    rise: float | None = None
    halved_after_s: float | None = None


class Merged(NamedTuple):
    """All mistings in order of time; ``shift_ms`` is by how much the reports' clock is off."""

    mistings: tuple[Misting, ...]
    shift_ms: int | None


NEAR_MS = {Source.MISTER: 6 * MINUTE_MS, Source.JOURNAL: 20 * MINUTE_MS}
"""How far a report may lie from the rise it goes with: keepers round, devices do not."""
REJECTED_MS = 5 * MINUTE_MS
FEWEST_TO_COMPARE = 6
"""Reports (and rises) it takes to tell that a clock is off."""
SHIFTED_SHARE = 0.7
"""Of the reports that fit after a shift, when it counts as one."""
UNSHIFTED_SHARE = 0.4
LONGEST_GUESS = 3.0
"""A misting that nobody timed is not guessed longer or shorter than the usual one by more."""
LONGEST_SHIFT_MS = 13 * 60 * MINUTE_MS


def merge(
    rises: Sequence[Rise],
    reported: Sequence[Reported],
    rejected: Collection[int] = (),
) -> Merged:
    """Join what was reported with what the air shows.

    Args:
        rises: sudden rises of vapour.
        reported: in any order.
        rejected: times (ms) at which the keeper says there was no misting; what was reported or
            shows within five minutes of one is left out.
    """

    def stands(at_ms: int) -> bool:
        return all(abs(at_ms - no_ms) > REJECTED_MS for no_ms in rejected)

    rises = [rise for rise in rises if stands(rise.at_ms)]
    reports = _once([report for report in reported if stands(report.at_ms)])
    shift_ms = clock_shift_ms(rises, reports)
    free = set(range(len(rises)))
    found = []
    for report in reports:
        near = [i for i in free if abs(rises[i].at_ms - report.at_ms) <= NEAR_MS[report.source]]
        if not near:
            confidence = 0.7 if report.source is Source.MISTER else 0.5
            found.append(Misting(report.at_ms, report.seconds, report.source, confidence))
            continue
        best = min(near, key=lambda i: abs(rises[i].at_ms - report.at_ms))
        free.remove(best)
        rise = rises[best]
        at_ms = report.at_ms if report.source is Source.MISTER else rise.at_ms
        found.append(
            Misting(at_ms, report.seconds, report.source, 0.99, rise.rise, rise.halved_after_s)
        )
    for i in free:
        rise = rises[i]
        found.append(
            Misting(
                rise.at_ms,
                None,
                Source.AIR,
                1.0 - 0.4 * exp(-(rise.certainty - STANDS_OUT) / 1.5),
                rise.rise,
                rise.halved_after_s,
            )
        )
    return Merged(tuple(sorted(found, key=lambda each: each.at_ms)), shift_ms)


def clock_shift_ms(rises: Sequence[Rise], reported: Sequence[Reported]) -> int | None:
    """By how much the reports come late (or, negative, early) against the air.

    None where they agree, or where the two do not fit at any shift.
    """
    if len(reported) < FEWEST_TO_COMPARE or len(rises) < FEWEST_TO_COMPARE:
        return None

    def fitting(shift_ms: int) -> float:
        fits = sum(
            any(abs(rise.at_ms + shift_ms - report.at_ms) <= 10 * MINUTE_MS for rise in rises)
            for report in reported
        )
        return fits / len(reported)

    if fitting(0) >= UNSHIFTED_SHARE:
        return None
    quarter = 15 * MINUTE_MS
    shifts = [
        sign * count * quarter
        for count in range(1, LONGEST_SHIFT_MS // quarter + 1)
        for sign in (1, -1)
    ]
    best = max(shifts, key=lambda shift: (round(fitting(shift), 2), -abs(shift)))
    return best if fitting(best) >= SHIFTED_SHARE else None


def _once(reported: Sequence[Reported]) -> list[Reported]:
    """Reports in order; a journal entry beside a mister's report of the same adds nothing."""
    reports: list[Reported] = []
    for report in sorted(reported, key=lambda each: each.at_ms):
        if reports and report.at_ms - reports[-1].at_ms <= 2 * MINUTE_MS:
            both = reports.pop(), report
            kept = next((each for each in both if each.source is Source.MISTER), both[0])
            seconds = (kept.seconds, *(each.seconds for each in both))
            known = next((each for each in seconds if each is not None), None)
            reports.append(kept._replace(seconds=known))
        else:
            reports.append(report)
    return reports


def with_seconds(mistings: Sequence[Misting]) -> list[Misting]:
    """The mistings, with a guess at the length of those that nobody timed.

    They are taken to be as long as their rise is high beside that of the timed ones; without a
    timed one all count a second each, which serves to tell when they were, not how much they gave.
    """
    timed = [each for each in mistings if each.seconds]
    if not timed:
        return [replace(each, seconds=1.0) for each in mistings]
    usual_s = median(each.seconds for each in timed if each.seconds)
    rises = [each.rise for each in timed if each.rise]
    usual_rise = median(rises) if rises else None

    def guess(misting: Misting) -> float:
        if not usual_rise or not misting.rise:
            return usual_s
        return usual_s * min(max(misting.rise / usual_rise, 1.0 / LONGEST_GUESS), LONGEST_GUESS)

    return [each if each.seconds else replace(each, seconds=guess(each)) for each in mistings]
