"""Calibration of humidity probes in the salt box: start, look, go on, finish, apply."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from monitor.api.access import MayOperate, MayView
from monitor.api.paging import LARGEST, PAGE, Limit, Number, link_next
from monitor.api.parts import GivenParts, Parts
from monitor.documents.base import Model
from monitor.jobs.calibrating import Calibrating
from monitor.jobs.certificates import shown, told
from monitor.setup.calibration import Salt, as_written
from monitor.store.sqlite.state import calibrations, setup

router = APIRouter(tags=["calibration"])

BELOW = "/{place}/probes/{probe}/calibrations"


class Start(Model):
    """What a run begins with."""

    salts: tuple[Salt, ...] = Field(min_length=1, max_length=len(Salt))
    """The salts in the order the probe is put to them."""


@router.get(f"/enclosures{BELOW}")
@router.get(f"/rooms{BELOW}", name="list_room_calibrations")
def list_calibrations(
    place: str,
    probe: str,
    parts: GivenParts,
    _who: MayView,
    request: Request,
    response: Response,
    limit: Limit = PAGE,
    before: Annotated[
        int | None, Query(ge=0, le=LARGEST, description="Taken from the Link header.")
    ] = None,
) -> list[dict[str, Any]]:
    """Runs and their certificates, newest first."""
    with parts.database.reading() as connection:
        setup.get(connection, place)
        rows = calibrations.page(connection, place, probe, before=before, limit=limit)
    if rows:
        link_next(request, response, rows, limit, str(rows[-1].id))
    return [shown(row) for row in rows]


@router.post(f"/enclosures{BELOW}", status_code=201)
@router.post(f"/rooms{BELOW}", status_code=201, name="start_room_calibration")
def start_calibration(
    place: str, probe: str, parts: GivenParts, who: MayOperate, body: Start
) -> dict[str, Any]:
    """The probe is in the box with the first salt; its climate alarms are off meanwhile."""
    return told(_calibrating(parts).start(place, probe, body.salts, who, parts.clock()))


@router.get(f"/enclosures{BELOW}/{{number}}")
@router.get(f"/rooms{BELOW}/{{number}}", name="get_room_calibration")
def get_calibration(
    place: str, probe: str, number: Number, parts: GivenParts, _who: MayView
) -> dict[str, Any]:
    """How far a run is, in figures and one sentence."""
    return told(_calibrating(parts).progress(place, probe, number, parts.clock()))


@router.post(f"/enclosures{BELOW}/{{number}}/next")
@router.post(f"/rooms{BELOW}/{{number}}/next", name="next_salt_of_room_calibration")
def next_salt(
    place: str, probe: str, number: Number, parts: GivenParts, _who: MayOperate
) -> dict[str, Any]:
    """The probe is at rest and goes to the next salt now; say so before the box is opened."""
    return told(_calibrating(parts).next_salt(place, probe, number, parts.clock()))


@router.post(f"/enclosures{BELOW}/{{number}}/finish")
@router.post(f"/rooms{BELOW}/{{number}}/finish", name="finish_room_calibration")
def finish_calibration(
    place: str, probe: str, number: Number, parts: GivenParts, _who: MayOperate
) -> dict[str, Any]:
    """The probe is at rest and comes out now; gives the certificate."""
    return told(_calibrating(parts).finish(place, probe, number, parts.clock()))


@router.post(f"/enclosures{BELOW}/{{number}}/apply")
@router.post(f"/rooms{BELOW}/{{number}}/apply", name="apply_room_calibration")
def apply_calibration(
    place: str, probe: str, number: Number, parts: GivenParts, who: MayOperate
) -> dict[str, Any]:
    """Correct the probe's readings by the certificate from now on."""
    calibrating = _calibrating(parts)
    correction = calibrating.apply(
        place,
        probe,
        number,
        who,
        parts.clock(),
        lambda changed, by, revision: parts.ask(
            lambda pipeline, now_ms: pipeline.put_place(changed, by, revision, now_ms)
        ),
    )
    answer = told(calibrating.progress(place, probe, number, parts.clock()))
    if parts.settings.setup.file is not None:
        answer["says"] += (
            " In force, also over a restart. Write it under the probe in the set-up file too, so "
            f"that the file tells the whole: {as_written(correction)}"
        )
    return answer


@router.delete(f"/enclosures{BELOW}/{{number}}", status_code=204)
@router.delete(f"/rooms{BELOW}/{{number}}", status_code=204, name="abandon_room_calibration")
def abandon_calibration(
    place: str, probe: str, number: Number, parts: GivenParts, _who: MayOperate
) -> None:
    """The probe comes out without a certificate."""
    _calibrating(parts).abandon(place, probe, number, parts.clock())


def _calibrating(parts: Parts) -> Calibrating:
    return Calibrating(parts.database, parts.readings, parts.settings.calibration)
