"""The misting page: how this air dries, what a misting gives, and schedules that would do."""

from typing import Any, NamedTuple

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from monitor.api.access import MayOperate, MayView
from monitor.api.misting import ROUNDED_MS
from monitor.api.parts import GivenParts, Parts
from monitor.jobs.misting import wire
from monitor.setup.journal import ENTRY, Source
from monitor.store.sqlite.state import journal
from monitor.web import words
from monitor.web.climate import enclosure_of
from monitor.web.guard import Page
from monitor.web.shell import GivenForm, Place, page

router = APIRouter(route_class=Page, include_in_schema=False)

_SEE_OTHER = 303
_PERCENT = 100


class Told(NamedTuple):
    """A name and what is to be said of it."""

    name: str
    says: str


class Plan(NamedTuple):
    """One proposal: its times as bars of a day, why, and what it is predicted to give."""

    number: int
    times: list[Told]
    bars: list[float]
    why: str
    predicted: list[Told]


@router.get("/enclosures/{enclosure}/misting")
def misting(request: Request, enclosure: str, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """What was found in the log, and what is proposed; nothing here drives a mister."""
    place = enclosure_of(parts, enclosure)
    found = _found(parts, enclosure)
    cannot = found["cannot"] or found["plan_cannot"]
    return page(
        request,
        "misting.html",
        here="misting",
        place=Place(place.id, place.name),
        headline=words.NO_PLAN if cannot or not found["plans"] else words.PLANS,
        cannot=cannot,
        plans=[_plan(number, each) for number, each in enumerate(found["plans"], 1)],
        balance=_balance(found),
        doubts=[each["says"] for each in found["doubts"]],
        drifts=[each["says"] for each in found["drifts"]],
        taken=found["taken"],
        mistings=len(found["mistings"]),
        probe=found["probe"],
    )


@router.post("/enclosures/{enclosure}/misting")
def take_up(enclosure: str, parts: GivenParts, _who: MayOperate, form: GivenForm) -> Response:
    """Write down that a proposal is taken up; what it does is then followed."""
    enclosure_of(parts, enclosure)
    plans = _found(parts, enclosure)["plans"]
    number = form.text("plan")
    if not number.isdigit() or not 1 <= int(number) <= len(plans):
        raise HTTPException(409, words.PLAN_GONE)
    now_ms = parts.clock()
    told = {"kind": "misting_plan", "at": now_ms, "times": plans[int(number) - 1]["times"]}
    with parts.database.transaction() as connection:
        entry = ENTRY.validate_python(told)
        written = journal.add(connection, enclosure, entry, Source.KEEPER, now_ms)
    return RedirectResponse(
        f"/enclosures/{enclosure}/journal?wrote={written}#entry-{written}", _SEE_OTHER
    )


def _found(parts: Parts, enclosure: str) -> dict[str, Any]:
    """The assessment of the last full ten minutes, as the API gives it."""
    at_ms = parts.clock() // ROUNDED_MS * ROUNDED_MS
    return wire(parts.misting.report(enclosure, at_ms))


def _plan(number: int, proposal: dict[str, Any]) -> Plan:
    predicted = proposal["predicted"]
    told = [
        Told(words.PREDICTED[name], words.predicted(name, value))
        for name, value in predicted.items()
        if name in words.PREDICTED and value is not None
    ]
    times = proposal["times"]
    return Plan(
        number=number,
        times=[Told(each["at"], words.SECONDS.format(each["seconds"])) for each in times],
        bars=[_of_a_day(each["at"]) for each in times],
        why=words.capital(proposal["why"]),
        predicted=told,
    )


def _of_a_day(at: str) -> float:
    """A time of day in percent of it."""
    hours, minutes = map(int, at.split(":"))
    return round(_PERCENT * (60 * hours + minutes) / 1440, 2)


def _balance(found: dict[str, Any]) -> list[Told]:
    """What is known of the air's water, each with its interval."""
    rates = found["drying_rate_per_h"]
    rows = (
        (words.DRYING_BY_DAY, rates["day"], words.PER_HOUR),
        (words.DRYING_BY_NIGHT, rates["night"], words.PER_HOUR),
        (words.LEFT_ALONE, found["wet_asymptote_g_m3"], words.GRAMS),
        (words.GIVES, found["added_g_m3_per_s"], words.GRAMS),
    )
    told = [
        Told(name, words.interval(each["value"], each["low"], each["high"], unit))
        for name, each, unit in rows
        if each is not None
    ]
    tested = found["backtest"]
    if tested is not None:
        told.append(Told(words.BACKTEST, words.MISSES.format(tested["rh_mae"], tested["days"])))
    return told
