"""Maintenance and the open lid: alarms kept quiet while a keeper's hands are in the enclosure."""

from collections.abc import Sequence
from contextlib import suppress
from typing import NamedTuple

from fastapi import APIRouter, HTTPException
from fastapi.responses import RedirectResponse

from monitor.alarms.model import Because
from monitor.alarms.wording import clock
from monitor.api.access import MayOperate
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict
from monitor.ingest import filing
from monitor.ingest.pipeline import Pipeline
from monitor.setup.models import Enclosure
from monitor.times import MINUTE_MS, SECOND_MS, duration
from monitor.web import probe_words
from monitor.web.guard import Page
from monitor.web.shell import GivenForm

router = APIRouter(route_class=Page, include_in_schema=False)

_SEE_OTHER = 303


class AtWork(NamedTuple):
    """One thing a keeper can say they are doing; ``quiet`` tells until when it is said already."""

    because: Because
    says: str
    quiet: str | None


def at_work(parts: Parts, place: Enclosure) -> Sequence[AtWork]:
    """What can be said of an enclosure, and what is said of it now."""
    now_ms = parts.clock()
    with parts.database.reading() as connection:
        found = filing.suppressions(connection, place.id)
    # What a switch reports is not a keeper's to end.
    said = {each.because: each for each in found if each.by is not None and each.probe is None}
    told = []
    for because, says in probe_words.AT_WORK.items():
        quiet, now = None, said.get(because)
        if now is not None and now.until_ms is not None and now.until_ms > now_ms:
            until = probe_words.QUIET_UNTIL[because].format(
                clock(now.until_ms, place.zone_info, now_ms)
            )
            quiet = probe_words.QUIET_BY.format(until, now.by)
        told.append(AtWork(because, says, quiet))
    return told


def settles(lid_settle_s: float) -> str:
    """What is left of the quiet once a keeper is done, by the setting (s)."""
    if not lid_settle_s:
        return probe_words.SETTLES_AT_ONCE
    short = lid_settle_s < MINUTE_MS / SECOND_MS
    left = f"{lid_settle_s:g} s" if short else duration(round(lid_settle_s * SECOND_MS))
    return probe_words.SETTLES.format(left)


@router.post("/enclosures/{enclosure}/at-work")
def tell(enclosure: str, parts: GivenParts, who: MayOperate, form: GivenForm) -> RedirectResponse:
    """Say that you are at work on it, for how long, or that you are done."""
    because, minutes = form.text("because"), form.text("minutes")
    if because not in probe_words.AT_WORK:
        raise HTTPException(422, f"{because!r} is nothing that a keeper can say here")
    if minutes and minutes not in probe_words.AT_WORK_FOR:
        raise HTTPException(422, f"{minutes!r} is none of the times offered")

    def act(pipeline: Pipeline, now_ms: int) -> None:
        if minutes:
            until_ms = now_ms + int(minutes) * MINUTE_MS
            pipeline.suppress(enclosure, Because(because), until_ms, who, "", now_ms)
            return
        # Another keeper may have been faster, or it is over: the page that follows shows it.
        with suppress(Conflict):
            pipeline.end_suppression(enclosure, Because(because), now_ms)

    parts.ask(act)
    return RedirectResponse(f"/enclosures/{enclosure}#at-work", _SEE_OTHER)
