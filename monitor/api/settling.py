"""Has a new build settled?"""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts
from monitor.api.spans import Instant
from monitor.jobs.settling import wire
from monitor.jobs.verdicts import ruling

router = APIRouter(tags=["settling"])


@router.get("/enclosures/{enclosure}/settling")
def get_settling(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    at: Annotated[Instant | None, Query(description="As of then; default: now.")] = None,
) -> dict[str, Any]:
    """The verdict, every criterion with its reason, and what holds it up.

    It speaks about the enclosure only and never replaces looking at the animal.
    """
    return wire(parts.assessor.assess(enclosure, parts.clock() if at is None else at))


@router.post("/enclosures/{enclosure}/settling")
def judge_now(enclosure: str, parts: GivenParts, _who: MayOperate) -> dict[str, Any]:
    """Judge it now rather than tomorrow morning: the verdict is remembered and told as then."""
    assessed = parts.assessor.assess(enclosure, parts.clock())
    row, notices, relapse = ruling(assessed, parts.settings.settling.channels)
    parts.ask(lambda pipeline, now_ms: pipeline.settle(row, notices, relapse, now_ms))
    return wire(assessed)
