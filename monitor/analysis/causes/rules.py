"""The rules that turn the parts of a departure into a cause, each in one place.

Thresholds were chosen on simulated scenarios and measured on others: docs/causes.md.
"""

from dataclasses import dataclass
from math import hypot

from monitor.analysis.causes.custom import Custom
from monitor.analysis.causes.evidence import CauseKind
from monitor.analysis.causes.parts import LEAST_GAIN, Parts, Peer

MOSTLY = 0.6
"""A part that carries this share names the cause; if neither does, it is mixed."""
SIGMAS_OF_80 = 1.28
NEW_DAY = 1.2
"""A new day departs from the median of a few so much more than each of these few."""

LIE_SHARE = 0.45
"""A probe lies if the others leave this share of the departure unconfirmed, ..."""
LIE_LEAST = 0.06
LIE_SIGMAS = 5.0
"""... and that is more than 6 % of vapour and more than they ever disagree."""
LIE_DOUBT = 0.15
"""This near the share, on either side, both answers stand."""

ROOM_SHARE = 0.4
"""The room did it if what it can do makes this share of the departure, ..."""
ROOM_LEAST = 0.1
ROOM_SIGMAS = 2.0
"""... and the room is not as on other days."""
ROOM_DOUBT = 0.2
EVENLY = 0.75
"""Without a probe in the room: a warming that the other probes share so far came from outside."""

GONE_HEAT = 0.09
"""Mean departure of ln e_s over half a day, about 1.5 K: heat that took the water with it."""

SWING_TOTAL = 0.1
SWING_OWN = 0.07
SWING_HEAT = 0.05
SWING_UNCONFIRMED = 0.06
"""A usual crossing is a normal swing if all this is small: 10 % of RH, 7 % without the room."""
SWING_DOUBT = 0.16
FEW_DAYS = 3
UNTOLD_BY_A_RUN_UP = frozenset(CauseKind) - {CauseKind.ROOM}
"""Without an earlier day nothing says what is usual; a probe in the room can still be believed."""


@dataclass(frozen=True, slots=True)
class Share:
    """Water's share of what is unusual, 0 to 1, with an 80 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The cause and all that cannot be told from it, the cause included."""

    kind: CauseKind
    could_be: frozenset[CauseKind]


def water_share(parts: Parts) -> Share:
    """Weigh water against temperature; only what goes beyond the usual counts."""
    water, heat = parts.water.excess, parts.heat.excess
    if water + heat <= 0.0:
        water, heat = max(0.0, parts.water.size), max(0.0, parts.heat.size)
    whole = water + heat
    if whole <= 0.0:
        return Share(0.5, 0.0, 1.0)
    value = water / whole
    # The differential of w / (w + h) is ((1 - share) dw - share dh) / (w + h).
    sigma = NEW_DAY * hypot((1 - value) * parts.water.scatter, value * parts.heat.scatter) / whole
    reach = SIGMAS_OF_80 * sigma
    return Share(value, max(0.0, value - reach), min(1.0, value + reach))


def decide(parts: Parts, share: Share, custom: Custom, jumped: bool) -> Verdict:
    """Name the cause; later rules overrule earlier ones."""
    inside = _inside(share.value, parts)
    verdict = Verdict(
        inside, frozenset({inside, _inside(share.low, parts), _inside(share.high, parts)})
    )
    if parts.days == 0:
        verdict = _or(verdict, *UNTOLD_BY_A_RUN_UP)
    verdict = _room(verdict, parts)
    verdict = _probe(verdict, parts, jumped)
    return _swing(verdict, parts, custom)


def _inside(share: float, parts: Parts) -> CauseKind:
    """What happened within the enclosure, going by water's share."""
    if share > MOSTLY:
        return CauseKind.WARMING if parts.heat_before > GONE_HEAT else CauseKind.DRYING
    return CauseKind.MIXED if share > 1.0 - MOSTLY else CauseKind.WARMING


def _room(verdict: Verdict, parts: Parts) -> Verdict:
    room = parts.room
    if room is None:
        evenly = parts.peers and all(p.heat >= EVENLY * parts.heat.size for p in parts.peers)
        if verdict.kind is CauseKind.WARMING and evenly:
            return _rather(verdict, CauseKind.ROOM)
        return _or(verdict, CauseKind.ROOM)
    share = room.push / parts.total if parts.total > 0.0 else 0.0
    strange = room.push > max(ROOM_LEAST, ROOM_SIGMAS * room.scatter)
    if strange and share >= ROOM_SHARE:
        return _rather(verdict, CauseKind.ROOM, sure=share >= ROOM_SHARE + ROOM_DOUBT)
    if share >= ROOM_SHARE - ROOM_DOUBT and room.push > ROOM_LEAST / 2:
        return _or(verdict, CauseKind.ROOM)
    return verdict


def _probe(verdict: Verdict, parts: Parts, jumped: bool) -> Verdict:
    witnesses = [peer for peer in parts.peers if peer.gain >= LEAST_GAIN]
    if not witnesses:
        if jumped:
            return _rather(verdict, CauseKind.PROBE)
        heat_alone = verdict.kind is CauseKind.WARMING and parts.heat.excess > parts.water.excess
        return verdict if heat_alone else _or(verdict, CauseKind.PROBE)
    # One probe that bears the target out is enough: two do not fail alike.
    share = min(_unconfirmed_share(peer, parts) for peer in witnesses)
    if share >= LIE_SHARE:
        return _rather(verdict, CauseKind.PROBE, sure=share >= LIE_SHARE + LIE_DOUBT)
    return _or(verdict, CauseKind.PROBE) if share >= LIE_SHARE - LIE_DOUBT else verdict


def confirms(peer: Peer, parts: Parts) -> bool:
    """Whether another probe bears the target out beyond doubt."""
    return _unconfirmed_share(peer, parts) < LIE_SHARE - LIE_DOUBT


def _unconfirmed_share(peer: Peer, parts: Parts) -> float:
    """Share of the departure that this probe does not bear out; 0 if that is nothing new."""
    if parts.total <= 0.0 or peer.unconfirmed < max(LIE_LEAST, LIE_SIGMAS * peer.scatter):
        return 0.0
    return peer.unconfirmed / parts.total


def _swing(verdict: Verdict, parts: Parts, custom: Custom) -> Verdict:
    if (
        custom.often
        and parts.total < SWING_TOTAL
        and parts.water.size + parts.heat.size < SWING_OWN
        and abs(parts.heat.size) < SWING_HEAT
        and all(abs(peer.unconfirmed) < SWING_UNCONFIRMED for peer in parts.peers)
    ):
        nothing = parts.water.excess + parts.heat.excess <= 0.0
        return _rather(verdict, CauseKind.SWING, sure=nothing)
    if parts.days < FEW_DAYS or (custom.crossed and parts.total < SWING_DOUBT):
        return _or(verdict, CauseKind.SWING)
    return verdict


def _or(verdict: Verdict, *kinds: CauseKind) -> Verdict:
    return Verdict(verdict.kind, verdict.could_be | set(kinds))


def _rather(verdict: Verdict, kind: CauseKind, *, sure: bool = False) -> Verdict:
    return Verdict(kind, frozenset({kind}) if sure else verdict.could_be | {kind})
