"""One night of one enclosure, for the keeper's first look in the morning.

Figures are of good readings alone; a reading stands until the next one, but no longer than its
probe may be silent.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Span
from monitor.setup.nights import Night
from monitor.species.ranges import RANGED, Ranged, Spans, Zone
from monitor.store.readings import Ints, Track
from monitor.times import DAY_MS, MINUTE_MS

WORTH_A_LOOK_MS = 30 * MINUTE_MS
"""Out of range for so long in all, a night is worth a look without any alarm (own judgement)."""
EARLIER_NIGHTS, MOST_NIGHTS = 7, 5
"""What was misted on so many of the earlier nights is what is usual."""
FEW = 0.75
"""At this share of the usual mistings or less, some did not come."""
LOOK_BACK_MS = EARLIER_NIGHTS * DAY_MS
"""What must be known before a night."""


class Need(StrEnum):
    """What a night asks of the keeper."""

    HAND = "hand"
    """Something is the matter now."""
    LOOK = "look"
    """Something was in the night."""
    NOTHING = "nothing"


class SeenAlarm(NamedTuple):
    """An alarm that was raised in the night or still stands.

    ``quiet``: a keeper shelved it, or something graver says it already.
    """

    id: str
    priority: str
    raised_at_ms: int
    standing: bool
    quiet: bool
    of_silence: bool
    says: str


class Misting(NamedTuple):
    """A misting from the journal; seconds may be unknown."""

    at_ms: int
    seconds: float | None


class Extreme(NamedTuple):
    """A reading that stands out."""

    value: float
    at_ms: int
    probe: str
    zone: Zone


class Beyond(NamedTuple):
    """How long any probe was beyond one end of its range, and its worst reading there."""

    ms: int
    worst: Extreme | None


class Silence(NamedTuple):
    """How long a probe sent nothing; ``since_ms`` is None if that was so before all that is known.

    ``lasts``: it is silent still.
    """

    probe: str
    zone: Zone
    ms: int
    since_ms: int | None
    lasts: bool


@dataclass(frozen=True, slots=True)
class Course:
    """One quantity over the night; the extremes are of the air, not of the substrate."""

    lowest: Extreme
    highest: Extreme
    below: Beyond
    above: Beyond


@dataclass(frozen=True, slots=True)
class Told:
    """What one probe sent, from some time before the night on, and the range it should keep.

    ``heard_ms``: all times at which anything came, of any quantity and quality, in order.
    """

    probe: Probe
    range: Spans
    tracks: Mapping[Quantity, Track]
    heard_ms: Ints


@dataclass(frozen=True, slots=True)
class NightReport:
    """The night; ``as_of_ms`` is up to when it is known and as of when alarms and probes stand."""

    enclosure: Enclosure
    night: Night
    as_of_ms: int
    courses: Mapping[Ranged, Course] = field(default_factory=dict)
    alarms: Sequence[SeenAlarm] = ()
    mistings: Sequence[Misting] = ()
    usual_mistings: int = 0
    silent: Sequence[Silence] = ()

    @property
    def standing(self) -> list[SeenAlarm]:
        """Alarms whose condition holds and that are not kept quiet."""
        return [alarm for alarm in self.alarms if alarm.standing and not alarm.quiet]

    @property
    def out_ms(self) -> int:
        """How long the quantity that did worst was out of its range."""
        spans = (course.below.ms + course.above.ms for course in self.courses.values())
        return max(spans, default=0)

    @property
    def dry(self) -> bool:
        """Whether a good part of the usual mistings was not seen."""
        usual = self.usual_mistings
        return usual > 0 and len(self.mistings) <= FEW * usual

    @property
    def need(self) -> Need:
        """What it asks for."""
        if self.standing or any(silence.lasts for silence in self.silent):
            return Need.HAND
        if self.alarms or self.silent or self.out_ms >= WORTH_A_LOOK_MS or self.dry:
            return Need.LOOK
        return Need.NOTHING


def urgency(report: NightReport) -> tuple[int, bool, int, int, str]:
    """Sorts reports: those that need a hand first, of these the critical ones."""
    critical = any(alarm.priority == "critical" for alarm in report.standing)
    rank = list(Need).index(report.need)
    return rank, not critical, -len(report.standing), -report.out_ms, report.enclosure.name


def night_report(
    enclosure: Enclosure,
    night: Night,
    told: Sequence[Told],
    alarms: Sequence[SeenAlarm],
    mistings: Sequence[Misting],
    as_of_ms: int,
) -> NightReport:
    """Look at a night; ``mistings`` reach back ``LOOK_BACK_MS`` to tell what is usual.

    While the night lasts (``as_of_ms`` before its end) it is told as far as it went.
    """
    start_ms, end_ms = night.start_ms, min(night.end_ms, as_of_ms)
    courses = {
        quantity: course
        for quantity in RANGED
        if (course := _course(quantity, told, start_ms, end_ms)) is not None
    }
    return NightReport(
        enclosure=enclosure,
        night=night,
        as_of_ms=as_of_ms,
        courses=courses,
        alarms=alarms,
        mistings=[each for each in mistings if start_ms <= each.at_ms < end_ms],
        usual_mistings=_usual(mistings, start_ms, end_ms),
        silent=[
            silence
            for each in told
            if (silence := _silence(each, start_ms, end_ms, as_of_ms)) is not None
        ],
    )


class _Piece(NamedTuple):
    """What is known of one quantity of one probe in the night, and how long each reading stood."""

    probe: Probe
    span: Span | None
    at_ms: Ints
    value: NDArray[np.float64]
    until_ms: Ints

    def at(self, index: int) -> Extreme:
        return Extreme(
            float(self.value[index]), int(self.at_ms[index]), self.probe.id, self.probe.zone
        )


def _course(quantity: Ranged, told: Sequence[Told], start_ms: int, end_ms: int) -> Course | None:
    pieces = [piece for each in told if (piece := _piece(each, quantity, start_ms, end_ms))]
    if not pieces:
        return None
    air = [piece for piece in pieces if piece.probe.zone is not Zone.SUBSTRATE] or pieces
    return Course(
        lowest=min(piece.at(int(np.argmin(piece.value))) for piece in air),
        highest=max(piece.at(int(np.argmax(piece.value))) for piece in air),
        below=_beyond(pieces, upper=False),
        above=_beyond(pieces, upper=True),
    )


def _piece(told: Told, quantity: Ranged, start_ms: int, end_ms: int) -> _Piece | None:
    track = told.tracks.get(quantity)
    if track is None:
        return None
    track = track.between(start_ms, end_ms)
    good = track.reason == Reason.OK
    at_ms, value = track.at_ms[good], track.value[good]
    if not len(at_ms):
        return None
    until_ms = np.minimum(np.append(at_ms[1:], end_ms), at_ms + told.probe.silence_ms)
    return _Piece(told.probe, told.range.given().get(quantity), at_ms, value, until_ms)


def _beyond(pieces: Sequence[_Piece], *, upper: bool) -> Beyond:
    """Time in which any of the probes is beyond counts once."""
    spans: list[Ints] = []
    worst: list[tuple[float, Extreme]] = []
    for piece in pieces:
        if piece.span is None:
            continue
        over = piece.value - piece.span.high if upper else piece.span.low - piece.value
        deepest = int(np.argmax(over))
        if over[deepest] > 0.0:
            spans.append(np.stack([piece.at_ms, piece.until_ms])[:, over > 0.0])
            worst.append((float(over[deepest]), piece.at(deepest)))
    return Beyond(_joint_ms(spans), max(worst)[1] if worst else None)


def _joint_ms(spans: Sequence[Ints]) -> int:
    """The length of spans (rows: begin, end) laid over each other."""
    if not spans:
        return 0
    begin, end = np.concatenate(spans, axis=1)
    order = np.argsort(begin, kind="stable")
    begin, end = begin[order], np.maximum.accumulate(end[order])
    covered = np.concatenate(([begin[0]], end[:-1]))
    return int(np.sum(np.maximum(end - np.maximum(begin, covered), 0)))


def _silence(told: Told, start_ms: int, end_ms: int, as_of_ms: int) -> Silence | None:
    """The silences of a probe that touch the night, as one."""
    limit_ms = told.probe.silence_ms
    times = np.append(told.heard_ms[told.heard_ms <= as_of_ms], as_of_ms)
    known = bool(times[0] <= start_ms)
    if not known:
        times = np.insert(times, 0, start_ms - limit_ms - 1)
    long = np.flatnonzero(np.diff(times) > limit_ms)
    inside = np.minimum(times[long + 1], end_ms) - np.maximum(times[long], start_ms)
    lasts = len(times) - 2 in long
    if not lasts and not np.any(inside > 0):
        return None
    first = int(long[np.argmax(inside > 0)]) if np.any(inside > 0) else len(times) - 2
    return Silence(
        told.probe.id,
        told.probe.zone,
        int(np.sum(np.maximum(inside, 0))),
        int(times[first]) if first > 0 or known else None,
        lasts,
    )


def _usual(mistings: Sequence[Misting], start_ms: int, end_ms: int) -> int:
    """How often it was misted, or oftener, in the same hours of most earlier nights."""
    counts = []
    for ago in range(1, EARLIER_NIGHTS + 1):
        first, last = start_ms - ago * DAY_MS, end_ms - ago * DAY_MS
        counts.append(sum(first <= each.at_ms < last for each in mistings))
    return sorted(counts)[-MOST_NIGHTS]
