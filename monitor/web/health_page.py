"""The health page: whether readings come in, are kept, and notices leave; what was rejected."""

import datetime as dt
from typing import NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.ingest.intake import UNKNOWN
from monitor.ingest.payload.decoded import Rejection
from monitor.ingest.pipeline import FAULT
from monitor.times import SECOND_MS
from monitor.times import duration as lasted
from monitor.web import words
from monitor.web.guard import Page
from monitor.web.measure import Shape
from monitor.web.shell import page

router = APIRouter(route_class=Page, include_in_schema=False)

RECENT = 20


class Part(NamedTuple):
    """One part of dewkeep: its name, whether it does well, and what there is to say."""

    name: str
    shape: Shape
    says: str
    more: tuple[str, ...] = ()


class Rejected(NamedTuple):
    """Messages rejected for one reason."""

    reason: str
    times: int
    meaning: str
    advice: str


class Recent(NamedTuple):
    """One message that was rejected."""

    when: str
    topic: str
    reason: str
    says: str


@router.get("/health")
def health(request: Request, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """All parts, those in trouble first."""
    found = [_broker(parts), _store(parts), _loop(parts), *_channels(parts), _live(parts)]
    wrong = sum(each.shape is Shape.MISSED for each in found)
    counts = parts.rejects.counts()
    return page(
        request,
        "health.html",
        here="health",
        headline=words.WELL if not wrong else words.UNWELL.format(wrong),
        found=sorted(found, key=lambda each: each.shape is not Shape.MISSED),
        rejected=[
            Rejected(reason, count, *_explained(reason))
            for reason, count in sorted(counts.items(), key=lambda each: -each[1])
        ],
        recent=[
            Recent(_utc(each.at_ms), each.topic, each.reason, each.says)
            for each in parts.rejects.recent()[:RECENT]
        ],
    )


def _broker(parts: Parts) -> Part:
    link = parts.loop.link.state
    since = _utc(round(link.since * SECOND_MS))
    return Part(
        words.BROKER,
        _well(fine=link.connected),
        words.CONNECTED.format(since) if link.connected else words.CUT_OFF.format(link.says, since),
        (words.RECEIVED.format(f"{link.received:,}"),),
    )


def _store(parts: Parts) -> Part:
    says = parts.loop.state().store_says
    size = parts.settings.store.path
    kept = f"{size.stat().st_size / 1e6:,.1f}" if size.exists() else "0"
    return Part(
        words.STORE,
        _well(fine=says is None),
        words.STORING if says is None else words.NO_STORE.format(says),
        (words.STORED.format(kept),),
    )


def _loop(parts: Parts) -> Part:
    loop = parts.loop.state()
    more = [
        says.format(f"{count:,}")
        for says, count in (
            (words.HELD_BACK, loop.held_messages),
            (words.REPEATED, loop.repeated_readings),
            (words.MISTAKES, loop.mistakes),
        )
        if count
    ]
    return Part(
        words.LOOP, _well(fine=loop.alive), words.RUNNING if loop.alive else words.NO_LOOP, (*more,)
    )


def _channels(parts: Parts) -> list[Part]:
    now_ms = parts.clock()
    found = []
    for each in parts.courier.health():
        late = each.oldest_ms is not None and now_ms - each.oldest_ms > words.LATE_MS
        more = []
        if each.waiting:
            waits = lasted(now_ms - (each.oldest_ms or now_ms))
            more.append(words.WAITING.format(each.waiting, waits))
        if each.given_up:
            more.append(words.GIVEN_UP.format(each.given_up))
        if each.called_off:
            more.append(words.CALLED_OFF.format(each.called_off))
        if each.last_error and each.waiting:
            more.append(words.LAST_ERROR.format(each.last_error))
        found.append(
            Part(
                words.CHANNEL.format(each.channel),
                _well(fine=each.alive and not late),
                words.DELIVERING if each.alive else words.NO_CHANNEL,
                (*more,),
            )
        )
    return found or [Part(words.CHANNELS, Shape.UNSURE, words.NO_CHANNELS)]


def _live(parts: Parts) -> Part:
    dropped = parts.hub.dropped
    return Part(
        words.LIVE,
        Shape.INSIDE,
        words.LISTENERS.format(parts.hub.listeners),
        (words.DROPPED.format(f"{dropped:,}"),) if dropped else (),
    )


def _well(*, fine: bool) -> Shape:
    return Shape.INSIDE if fine else Shape.MISSED


def _explained(reason: str) -> tuple[str, str]:
    if reason in {UNKNOWN, FAULT}:
        return words.REJECTED[reason]
    known = Rejection(reason)
    return known.meaning, known.advice


def _utc(at_ms: int) -> str:
    return f"{dt.datetime.fromtimestamp(at_ms / SECOND_MS, dt.UTC):%Y-%m-%d %H:%M:%S} UTC"
