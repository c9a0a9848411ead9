"""Can a probe be believed? Cross-checks that end in maintenance advice, never in a climate alarm.

Pure: four weeks of readings, mistings and certificates go in. docs/probes.md explains each check.
"""

from collections.abc import Sequence

from monitor.analysis.trust.battery import running_low
from monitor.analysis.trust.budget import usual_uncertainty
from monitor.analysis.trust.comparison import disagreement, drifting_apart, neighbours
from monitor.analysis.trust.misted import never_saturated, slow
from monitor.analysis.trust.model import Advice, Check, Confidence, Misting, Past, Trust
from monitor.analysis.trust.papers import drifted, overdue
from monitor.analysis.trust.wetness import soaked

__all__ = ["Advice", "Check", "Confidence", "Misting", "Past", "Trust", "trust"]


def trust(pasts: Sequence[Past], now_ms: int) -> list[Trust]:
    """Every probe of one enclosure or room, with what is advised about it."""
    return [
        Trust(
            past.probe,
            past.zone,
            usual_uncertainty(past, now_ms),
            past.certificate,
            tuple(each for each in _checks(past, pasts, now_ms) if each is not None),
        )
        for past in pasts
    ]


def _checks(past: Past, pasts: Sequence[Past], now_ms: int) -> list[Advice | None]:
    others = neighbours(past, pasts)
    wet = soaked(past, pasts, now_ms)
    return [
        wet,
        # A wet sensor disagrees with everyone; that is told once.
        None if wet else disagreement(past, others, now_ms),
        drifting_apart(past, others) or drifted(past),
        never_saturated(past, others, now_ms),
        slow(past, pasts),
        overdue(past, now_ms),
        running_low(past),
    ]
