"""Quiet by design: maintenance, an open lid, a probe out of service."""

from enum import StrEnum
from typing import Annotated, Any

from fastapi import APIRouter, Body
from pydantic import Field

from monitor.alarms.model import Because
from monitor.alarms.wording import wire_suppression
from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.ingest import filing
from monitor.setup.models import Model
from monitor.store.sqlite.state import setup
from monitor.times import MINUTE_MS

router = APIRouter(tags=["alarms"])

Why = Annotated[str, Field(max_length=200)]


class AtWork(StrEnum):
    """What a keeper can say they are doing."""

    MAINTENANCE = Because.MAINTENANCE.value
    LID_OPEN = Because.LID_OPEN.value


class Quiet(Model):
    """For how long, and what for."""

    minutes: float = Field(gt=0, le=1e6)
    """From now on; at most the setting `longest_quiet_s`."""
    why: Why = ""


class Reason(Model):
    """What for."""

    why: Why = ""


@router.get("/suppressions")
def list_all_suppressions(parts: GivenParts, _who: MayView) -> list[dict[str, Any]]:
    """What keeps alarms quiet, everywhere."""
    return _shown(parts, None)


@router.get("/enclosures/{enclosure}/suppressions")
def list_suppressions(enclosure: str, parts: GivenParts, _who: MayView) -> list[dict[str, Any]]:
    """What keeps alarms of an enclosure quiet."""
    with parts.database.reading() as connection:
        setup.get(connection, enclosure)
    return _shown(parts, enclosure)


@router.put("/enclosures/{enclosure}/suppressions/{because}")
def suppress(
    enclosure: str,
    because: AtWork,
    parts: GivenParts,
    who: MayOperate,
    quiet: Annotated[Quiet, Body()],
) -> list[dict[str, Any]]:
    """Say that you are at work on it, or have its lid open; critical alarms call all the same."""
    ms = round(quiet.minutes * MINUTE_MS)
    parts.ask(
        lambda pipeline, now_ms: pipeline.suppress(
            enclosure, Because(because), now_ms + ms, who, quiet.why, now_ms
        )
    )
    return _shown(parts, enclosure)


@router.delete("/enclosures/{enclosure}/suppressions/{because}")
def end_suppression(
    enclosure: str, because: AtWork, parts: GivenParts, _who: MayOperate
) -> list[dict[str, Any]]:
    """Say that you are done; the climate has a while left to settle."""
    parts.ask(
        lambda pipeline, now_ms: pipeline.end_suppression(enclosure, Because(because), now_ms)
    )
    return _shown(parts, enclosure)


@router.post("/enclosures/{enclosure}/probes/{probe}/out-of-service")
def remove_from_service(
    enclosure: str,
    probe: str,
    parts: GivenParts,
    who: MayOperate,
    reason: Annotated[Reason, Body()] = Reason(),  # noqa: B008 - it cannot be changed
) -> list[dict[str, Any]]:
    """Take a probe out of service: no alarm of it counts until it is placed back."""
    parts.ask(
        lambda pipeline, now_ms: pipeline.remove_from_service(
            enclosure, probe, who, reason.why, now_ms
        )
    )
    return _shown(parts, enclosure)


@router.post("/enclosures/{enclosure}/probes/{probe}/in-service")
def place_in_service(
    enclosure: str, probe: str, parts: GivenParts, who: MayOperate
) -> list[dict[str, Any]]:
    """Place a probe back in service; what holds now calls anew."""
    parts.ask(lambda pipeline, now_ms: pipeline.place_in_service(enclosure, probe, who, now_ms))
    return _shown(parts, enclosure)


def _shown(parts: Parts, place: str | None) -> list[dict[str, Any]]:
    with parts.database.reading() as connection:
        found = filing.suppressions(connection, place)
    now_ms = parts.clock()
    return [dict(wire_suppression(each, now_ms)) for each in found]
