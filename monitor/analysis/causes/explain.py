"""Why humidity crossed its limit: from evidence to a cause in words."""

from dataclasses import replace
from math import isfinite

from monitor.analysis.causes.checks import failure, jump
from monitor.analysis.causes.custom import custom, missed_mistings
from monitor.analysis.causes.evidence import Cause, CauseKind, Evidence
from monitor.analysis.causes.figures import find
from monitor.analysis.causes.parts import split
from monitor.analysis.causes.rules import Verdict, decide, water_share
from monitor.analysis.causes.words import check_first, says
from monitor.analysis.courses import History

RUN_UP_ONLY = "run-up only"


def explain(evidence: Evidence) -> Cause:
    """Name the cause of a humidity alarm, and all that the probes at hand cannot tell from it.

    May be asked again as often as wanted while the alarm stands. It takes some milliseconds.
    """
    broken = failure(evidence.target, evidence.now_ms)
    if broken is not None:
        return _unsplit(evidence, CauseKind.PROBE, frozenset({CauseKind.PROBE}), broken)
    evidence = _believable(evidence)
    parts = split(evidence)
    if not isfinite(parts.total):
        return _unsplit(
            evidence,
            CauseKind.DRYING,
            frozenset(CauseKind),
            "Too little was recorded before the alarm to tell why.",
        )
    usage = custom(evidence)
    share = water_share(parts)
    verdict = decide(parts, share, usage, jump(evidence) is not None)
    missed = missed_mistings(evidence)
    found = find(evidence, parts, usage, missed)
    trusted = verdict.kind is not CauseKind.PROBE
    return Cause(
        kind=verdict.kind,
        could_be=_in_order(verdict),
        water_share=share.value if trusted else None,
        water_share_low=share.low if trusted else None,
        water_share_high=share.high if trusted else None,
        figures=found.figures(),
        check_first=check_first(verdict.kind, evidence.side, missed),
        says=says(verdict, evidence.side, found, run_up_only=parts.days == 0),
        reference=f"same hour of {parts.days} days" if parts.days else RUN_UP_ONLY,
    )


def _believable(evidence: Evidence) -> Evidence:
    """The evidence without witnesses that have failed themselves."""

    def works(probe: History) -> bool:
        return failure(probe, evidence.now_ms) is None

    room = evidence.room if evidence.room is not None and works(evidence.room) else None
    return replace(evidence, others=tuple(filter(works, evidence.others)), room=room)


def _in_order(verdict: Verdict) -> tuple[CauseKind, ...]:
    """The cause first, then the others in the order of the contract."""
    return (
        verdict.kind,
        *(kind for kind in CauseKind if kind in verdict.could_be - {verdict.kind}),
    )


def _unsplit(
    evidence: Evidence, kind: CauseKind, could_be: frozenset[CauseKind], sentence: str
) -> Cause:
    return Cause(
        kind=kind,
        could_be=_in_order(Verdict(kind, could_be)),
        water_share=None,
        water_share_low=None,
        water_share_high=None,
        figures=(),
        check_first=check_first(kind, evidence.side, None),
        says=sentence,
        reference=RUN_UP_ONLY,
    )
