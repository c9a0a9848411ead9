"""Calibrating a probe in the salt box: what to prepare, how far it is, and what came out."""

import datetime as dt
from collections.abc import Sequence
from typing import Any, NamedTuple

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from monitor.alarms.wording import clock
from monitor.analysis.calibration import GRID, fixed_point
from monitor.api import calibrations as api
from monitor.api.access import MayOperate, MayView
from monitor.api.paging import Number
from monitor.api.parts import GivenParts, Parts
from monitor.jobs.calibrating import Calibrating, Progress
from monitor.quantities import Quantity
from monitor.setup.calibration import Certificate, Salt, as_written, correction_of
from monitor.setup.models import Probe
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import calibrations
from monitor.store.sqlite.state.calibrations import CalibrationRow, State
from monitor.times import duration
from monitor.web import probe_words, words
from monitor.web.charts.approach import approach
from monitor.web.guard import Page
from monitor.web.home import Home, home_of
from monitor.web.measure import Shape
from monitor.web.shell import GivenForm, page

router = APIRouter(route_class=Page, include_in_schema=False)

BELOW = "/{place}/probes/{probe}/calibration"
USUAL_CEL = 20.0
RUNS = 20
TOLD_AT = (20, 50, 80, 100)
"""Raw readings at which the page tells a certificate's uncertainty, %RH."""
_SEE_OTHER = 303


class Solution(NamedTuple):
    """A salt as it is offered."""

    salt: Salt
    name: str
    humidity: str
    caution: str


class Stage(NamedTuple):
    """One salt of a run: what became of it, or what is to be done."""

    name: str
    shape: Shape
    says: str


class Past(NamedTuple):
    """An earlier run."""

    number: int
    when: str
    says: str
    applied: bool


@router.get(f"/enclosures{BELOW}")
@router.get(f"/rooms{BELOW}")
def prepare(request: Request, place: str, probe: str, parts: GivenParts, _who: MayView) -> Response:
    """What is needed, which salts there are, and what earlier runs found."""
    home = home_of(parts, place)
    found = home.probe(probe)
    with parts.database.reading() as connection:
        running = calibrations.boxed(connection).get((place, probe))
    if running is not None:
        return RedirectResponse(f"{_address(home, found)}/{running}", _SEE_OTHER)
    return _prepare(request, parts, home, found)


@router.post(f"/enclosures{BELOW}")
@router.post(f"/rooms{BELOW}")
def start(
    request: Request, place: str, probe: str, parts: GivenParts, who: MayOperate, form: GivenForm
) -> Response:
    """The probe is in the box with the first salt."""
    home = home_of(parts, place)
    found = home.probe(probe)
    chosen = [name for name in form.all("salt") if name in set(Salt)]
    wrong = ""
    if not form.all("salt") or form.all("salt")[0] not in chosen:
        wrong = probe_words.NO_SALT
    elif len(set(chosen)) < len(chosen):
        wrong = probe_words.SALT_TWICE
    if wrong:
        return _prepare(request, parts, home, found, chosen=form.all("salt"), wrong=wrong)
    body = api.Start(salts=tuple(Salt(name) for name in chosen))
    run = api.start_calibration(place, probe, parts, who, body)
    return RedirectResponse(f"{_address(home, found)}/{run['id']}", _SEE_OTHER)


@router.get(f"/enclosures{BELOW}/{{number}}")
@router.get(f"/rooms{BELOW}/{{number}}")
def follow(
    request: Request, place: str, probe: str, number: Number, parts: GivenParts, _who: MayView
) -> HTMLResponse:
    """How far a run is, or what it found."""
    home, now_ms = home_of(parts, place), parts.clock()
    found = home.probe(probe)
    calibrating = Calibrating(parts.database, parts.readings, parts.settings.calibration)
    progress = calibrating.progress(place, probe, number, now_ms)
    row, drawn, boxed_says = progress.row, None, ""
    if row.state is State.RUNNING:
        drawn = approach(
            calibrating.boxed(row, now_ms),
            now_ms,
            parts.settings.calibration.at_least_h,
            progress.reference,
        )
        boxed_says = _boxed_says(progress, now_ms)
    certificate = row.certificate
    return page(
        request,
        "calibration_run.html",
        here="probes",
        place=home.shelf,
        home=home,
        probe=found,
        name=home.name(found),
        title=_title(home, found, row),
        progress=progress,
        running=row.state is State.RUNNING,
        at_rest=progress.rest is not None and progress.rest.rested is not None,
        stages=_stages(progress, home, now_ms),
        following=[salt.in_words for salt in progress.to_follow],
        caution=probe_words.CAUTIONS[row.run.steps[-1].salt],
        drawn=drawn,
        drawn_says=boxed_says,
        at_least=probe_words.AT_LEAST.format(parts.settings.calibration.at_least_h),
        now=clock(now_ms, home.zone, now_ms),
        certificate=certificate,
        uncertainties=[] if certificate is None else _uncertainties(certificate),
        due="" if certificate is None else words.day(_date(certificate.due_ms, home)),
        applied=None if row.applied_ms is None else words.day(_date(row.applied_ms, home)),
        in_force=certificate is not None
        and not certificate.unusable
        and certificate.correction == correction_of(found),
        # Whoever reads the set-up file should find it there.
        line=as_written(certificate.correction)
        if certificate is not None
        and not certificate.unusable
        and parts.settings.setup.file is not None
        else None,
    )


@router.post(f"/enclosures{BELOW}/{{number}}")
@router.post(f"/rooms{BELOW}/{{number}}")
def go_on(
    place: str, probe: str, number: Number, parts: GivenParts, who: MayOperate, form: GivenForm
) -> RedirectResponse:
    """Next salt, finish, put in force, or give up."""
    home = home_of(parts, place)
    act = {
        "next": api.next_salt,
        "finish": api.finish_calibration,
        "apply": api.apply_calibration,
        "abandon": api.abandon_calibration,
    }.get(form.text("do"))
    if act is not None:
        act(place, probe, number, parts, who)
    return RedirectResponse(f"{_address(home, home.probe(probe))}/{number}", _SEE_OTHER)


def _prepare(
    request: Request,
    parts: Parts,
    home: Home,
    probe: Probe,
    *,
    chosen: Sequence[str] = probe_words.USUAL,
    wrong: str = "",
) -> HTMLResponse:
    with parts.database.reading() as connection:
        rows = calibrations.page(connection, home.place.id, probe.id, limit=RUNS)
    cel, known = _temperature(parts, home, probe)
    settings = parts.settings.calibration
    return page(
        request,
        "calibration.html",
        here="probes",
        place=home.shelf,
        status=422 if wrong else 200,
        home=home,
        probe=probe,
        name=home.name(probe),
        action=_address(home, probe),
        order=probe_words.ORDER,
        cel=f"{cel:.0f}",
        known=known,
        solutions=[_solution(salt, cel) for salt in Salt],
        chosen=[*chosen, *[""] * len(probe_words.ORDER)][: len(probe_words.ORDER)],
        wrong=wrong,
        least=f"{settings.at_least_h:g}",
        longest=f"{settings.longest_h:g}",
        past=[_past(row, home) for row in rows],
    )


def _address(home: Home, probe: Probe) -> str:
    return f"{home.address}/probes/{probe.id}/calibration"


def _temperature(parts: Parts, home: Home, probe: Probe) -> tuple[float, bool]:
    """What the probe has now, where fixed points are known, else a usual one."""
    series = parts.readings.known_series().get(
        SeriesKey(home.place.id, probe.id, Quantity.TEMPERATURE)
    )
    latest = parts.readings.latest()
    if series is not None and series in latest:
        try:
            fixed_point(Salt.SODIUM_CHLORIDE, latest[series].value)
        except ValueError:
            return USUAL_CEL, False
        return latest[series].value, True
    return USUAL_CEL, False


def _solution(salt: Salt, cel: float) -> Solution:
    point = fixed_point(salt, cel)
    return Solution(
        salt,
        salt.in_words,
        f"{point.humidity:.1f} ± {point.limit:g} %",
        probe_words.CAUTIONS[salt],
    )


def _past(row: CalibrationRow, home: Home) -> Past:
    return Past(
        row.id,
        words.day(_date(row.started_ms, home)),
        probe_words.STATES[row.state] if row.certificate is None else row.certificate.says,
        row.applied_ms is not None,
    )


def _title(home: Home, probe: Probe, row: CalibrationRow) -> str:
    title = {
        State.RUNNING: probe_words.IN_THE_BOX,
        State.FINISHED: probe_words.FINISHED,
        State.ABANDONED: probe_words.ABANDONED,
    }[row.state]
    if row.certificate is not None and row.certificate.unusable:
        title = probe_words.UNUSABLE
    return title.format(words.capital(home.name(probe)))


def _stages(progress: Progress, home: Home, now_ms: int) -> list[Stage]:
    """Each salt of the run in its order."""
    row = progress.row
    stages = []
    for step in row.run.steps:
        name = step.salt.in_words
        since = clock(step.since_ms, home.zone, now_ms)
        if step.rested is not None:
            said = probe_words.DONE.format(
                since, f"{step.rested.reading:.1f}", f"{step.rested.temperature:.1f}"
            )
            stages.append(Stage(name, Shape.INSIDE, said))
        elif row.state is State.RUNNING:
            stages.append(Stage(name, Shape.UNSURE, probe_words.HERE_SINCE.format(since)))
        else:
            stages.append(Stage(name, Shape.MISSED, probe_words.NOT_ENDED.format(since)))
    left = probe_words.TO_FOLLOW if row.state is State.RUNNING else probe_words.LEFT_OUT
    stages += [Stage(salt.in_words, Shape.UNSURE, left) for salt in progress.to_follow]
    return stages


def _boxed_says(progress: Progress, now_ms: int) -> str:
    """The drawing in a sentence."""
    step = progress.row.run.steps[-1]
    if progress.rest is None or progress.rest.last is None:
        return ""
    told: list[Any] = [duration(now_ms - step.since_ms), f"{progress.rest.last:.1f}"]
    if progress.reference is None:
        return probe_words.APPROACH_NO_POINT.format(*told)
    point = progress.reference
    return probe_words.APPROACH.format(*told, f"{point.humidity:.1f}", f"{point.limit:g}")


def _uncertainties(certificate: Certificate) -> list[tuple[str, str]]:
    """How far a corrected reading may be off, by what the probe reads."""
    by_reading = dict(zip(GRID, certificate.uncertainty, strict=True))
    return [(f"{reading} %", f"± {by_reading[reading]:.1f} %") for reading in TOLD_AT]


def _date(at_ms: int, home: Home) -> dt.date:
    return dt.datetime.fromtimestamp(at_ms / 1000, home.zone).date()
