"""Splits a departure of ln RH by what water, warmth, the room and the probe have to do with it.

RH = e / e_s(T), so ln RH falls by the fall of ln e plus the rise of ln e_s, exactly. How an
enclosure follows its room, and a second probe the first, is learnt from the departures of earlier
days. All is signed towards the limit that was crossed: positive parts drove the alarm.
"""

from dataclasses import dataclass

import numpy as np

from monitor.analysis.causes.departure import PER_HOUR, Departure, Rows, now
from monitor.analysis.causes.evidence import Evidence, Side
from monitor.analysis.courses import Column

VAPOUR_PER_ROOM = (0.4, 0.3)
"""Usual gain of an enclosure's ln e on the room's ln e and ln e_s, before anything is learnt."""
SATURATION_PER_ROOM = 0.8
"""Usual gain of its ln e_s on the room's: without a thermostat it follows nearly in full."""
VAPOUR_PER_PEER = 0.8
"""Usual gain of another probe's ln e on the target's; wet soil near a probe lowers it."""
DOUBT = 0.05
"""Sum of squares of hourly departures that outweighs these usual gains."""
LEAST_GAIN = 0.35
"""A second probe that follows less than this cannot bear witness for more."""
ROOM_PUSH = (0.5, 0.65)
"""How much of a change of the room's ln e and ln e_s is put down to the room when it is suspected.

Fixed on purpose: what is learnt in a calm week says too little about a heater or an open window.
"""
LEAST_SCATTER = 0.01
"""Of a departure: what a probe's noise and rounding leave, about 1 %."""
UNKNOWN_SCATTER = 0.05
"""Taken where no earlier day tells."""
USUAL_SHARE = 90.0
"""Percentile of earlier departures that a part must exceed before it counts."""
LEAD = 12 * PER_HOUR
"""How far back a warming is looked for that has dried the enclosure out since."""

MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a departure: its size, how much it scatters from day to day, how far is usual."""

    size: float
    scatter: float
    usual: float

    @property
    def excess(self) -> float:
        """What goes beyond the usual, not below zero."""
        return max(0.0, self.size - self.usual)


@dataclass(frozen=True, slots=True)
class Peer:
    """Another probe of the enclosure.

    ``heat`` is how far its ln e_s departed, ``gain`` how far its ln e follows the target's;
    ``unconfirmed`` is the part of the target's departure of ln e that it does not bear out, and
    ``scatter`` how far they disagree on other days.
    """

    heat: float
    gain: float
    unconfirmed: float
    scatter: float


@dataclass(frozen=True, slots=True)
class RoomPart:
    """The room: how far its ln e and ln e_s departed, and how far that may push the enclosure.

    ``scatter`` is how much that push differs from day to day.
    """

    vapour: float
    saturation: float
    push: float
    scatter: float


@dataclass(frozen=True, slots=True)
class Parts:
    """The departure of ln RH at the target and what it is made of.

    ``vapour`` and ``saturation`` are all of it; ``water`` and ``heat`` are those without what the
    room's air explains (with no ``room``: all). ``heat_before`` is the mean of ``heat`` over half
    a day. ``days`` is how many earlier days it was compared with, 0 for the run-up.
    """

    vapour: float
    saturation: float
    water: Part
    heat: Part
    heat_before: float
    room: RoomPart | None
    peers: tuple[Peer, ...]
    days: int

    @property
    def total(self) -> float:
        """How far ln RH departs from the usual."""
        return self.vapour + self.saturation


def split(evidence: Evidence) -> Parts:
    """Weigh what happened at the target against its past, the room and the other probes."""
    towards = 1.0 if evidence.side is Side.LOW else -1.0
    target = Departure.of(evidence.target, evidence)
    room = None if evidence.room is None else Departure.of(evidence.room, evidence)
    if room is not None and not np.isfinite(room.vapour[-PER_HOUR:]).all():
        room = None
    own = target if room is None else without_room(target, room)
    others = (Departure.of(other, evidence) for other in evidence.others)
    heard = (other for other in others if np.isfinite(now(other.vapour)))
    return Parts(
        vapour=-towards * now(target.vapour),
        saturation=towards * now(target.saturation),
        water=_part(-towards * own.vapour, -towards * own.past_vapour),
        heat=_part(towards * own.saturation, towards * own.past_saturation),
        heat_before=towards * _mean(own.saturation[-LEAD:]),
        room=None if room is None else _room(room, towards),
        peers=tuple(_peer(own, other, room, towards) for other in heard),
        days=target.days,
    )


def without_room(probe: Departure, room: Departure) -> Departure:
    """A departure less what the room's own departure explains of it."""
    wet, warm = learn(probe.past_vapour, (room.past_vapour, room.past_saturation), VAPOUR_PER_ROOM)
    (heat,) = learn(probe.past_saturation, (room.past_saturation,), (SATURATION_PER_ROOM,))
    return Departure(
        probe.vapour - wet * room.vapour - warm * room.saturation,
        probe.saturation - heat * room.saturation,
        probe.past_vapour - wet * room.past_vapour - warm * room.past_saturation,
        probe.past_saturation - heat * room.past_saturation,
        probe.days,
    )


def learn(follower: Rows, drivers: tuple[Rows, ...], usual: tuple[float, ...]) -> Column:
    """Gains of a follower's departures on those of its drivers, shrunk towards the usual ones.

    Least squares over the hourly means of earlier days: a ridge about ``usual``.
    """
    y = _hourly(follower)
    x = np.stack([_hourly(driver) for driver in drivers])
    known = np.isfinite(y) & np.isfinite(x).all(axis=0)
    x, y = x[:, known], y[known]
    weight = DOUBT * np.eye(len(usual))
    return np.linalg.solve(x @ x.T + weight, x @ y + weight @ np.array(usual))


def _room(room: Departure, towards: float) -> RoomPart:
    vapour, saturation = -towards * float(np.mean(room.vapour[-PER_HOUR:])), now(room.saturation)
    wet, warm = ROOM_PUSH
    return RoomPart(
        vapour=vapour,
        saturation=towards * saturation,
        push=wet * vapour + warm * towards * saturation,
        scatter=_scatter(warm * room.past_saturation - wet * room.past_vapour),
    )


def _peer(own: Departure, other: Departure, room: Departure | None, towards: float) -> Peer:
    theirs = other if room is None else without_room(other, room)
    (gain,) = learn(theirs.past_vapour, (own.past_vapour,), (VAPOUR_PER_PEER,))
    bears_out = 1.0 / max(float(gain), LEAST_GAIN)
    return Peer(
        heat=towards * now(theirs.saturation),
        gain=float(gain),
        unconfirmed=-towards * (now(own.vapour) - bears_out * now(theirs.vapour)),
        scatter=_scatter(own.past_vapour - bears_out * theirs.past_vapour),
    )


def _part(column: Column, past: Rows) -> Part:
    known = past[np.isfinite(past)]
    usual = max(0.0, float(np.percentile(known, USUAL_SHARE))) if len(known) else 0.0
    return Part(now(column), _scatter(past), usual)


def _scatter(past: Rows) -> float:
    known = past[np.isfinite(past)]
    if not len(known):
        return UNKNOWN_SCATTER
    return max(LEAST_SCATTER, MAD_TO_SIGMA * float(np.median(np.abs(known))))


def _hourly(rows: Rows) -> Column:
    return np.asarray(rows.reshape(-1, PER_HOUR).mean(axis=1))


def _mean(column: Column) -> float:
    known = column[np.isfinite(column)]
    return float(known.mean()) if len(known) else 0.0
