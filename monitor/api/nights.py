"""The last night: of one enclosure, or the morning's report on all."""

import datetime as dt
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query

from monitor.analysis.morning import wire
from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.jobs.nights import Nights
from monitor.times import rfc3339

router = APIRouter(tags=["nights"])


@router.get("/enclosures/{enclosure}/night")
def get_night(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    date: Annotated[
        dt.date | None, Query(description="The day on which it ended; default: the last one.")
    ] = None,
) -> dict[str, Any]:
    """One night, from lights off to lights on: extremes, time out of range, alarms, mistings."""
    return wire(_nights(parts).night(enclosure, date, parts.clock()))


@router.get("/report/morning")
def get_morning_report(parts: GivenParts, _who: MayView) -> dict[str, Any]:
    """The last night of all enclosures, those that need a hand first."""
    now_ms = parts.clock()
    report = _nights(parts).morning(now_ms, ZoneInfo(parts.settings.report.timezone))
    return {
        "date": report.date.isoformat(),
        "at": rfc3339(now_ms),
        "says": report.says,
        "text": report.text,
        "enclosures": [wire(each) for each in report.reports],
    }


def _nights(parts: Parts) -> Nights:
    return Nights(parts.database, parts.readings, parts.library)
