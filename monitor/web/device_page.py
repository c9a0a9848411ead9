"""Devices: the page that asks which probe one is, and what the forms of places need to know."""

from collections.abc import Sequence
from typing import Annotated, NamedTuple

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from monitor.api.access import MayOperate
from monitor.api.parts import GivenParts, Parts
from monitor.setup.device import LONGEST, both
from monitor.setup.models import Enclosure, Room, devices_of
from monitor.setup.sources import contradictions
from monitor.store.sqlite.state import setup
from monitor.web.guard import Page
from monitor.web.setup_form import ProbeRow
from monitor.web.shell import page

router = APIRouter(route_class=Page, include_in_schema=False)


class Asked(NamedTuple):
    """Whether a form asks for devices, and the topics that they publish on."""

    use: bool
    topics: Sequence[str]


@router.get("/setup/device")
def ask_device(
    request: Request,
    parts: GivenParts,
    _who: MayOperate,
    name: Annotated[str, Query(min_length=1, max_length=LONGEST)],
) -> HTMLResponse:
    """Which probe a device is: one that is there, or a new one of an enclosure or room."""
    with parts.database.reading() as connection:
        placed = setup.everything(connection)
    return page(request, "setup_device.html", here="setup", device=name, placed=placed)


def asked(parts: Parts, rows: Sequence[ProbeRow]) -> Asked:
    """Most houses have no use for devices, and are not asked."""
    topics = [each.topic for each in parts.settings.source if each.by_device]
    return Asked(bool(topics) or any(each.device for each in rows), topics)


def taken(parts: Parts, place: Room | Enclosure, rows: Sequence[ProbeRow]) -> dict[str, str]:
    """What is wrong with a place's devices that are another probe already, by field."""
    with parts.database.reading() as connection:
        placed = setup.everything(connection).places
    others, ours = devices_of(p for p in placed if p.id != place.id), devices_of([place])
    wrong = {
        device: both(device, others[device], address)
        for device, address in ours.items()
        if device in others
    }
    wrong |= {str(route[-1]): says for route, says in contradictions(parts.settings.source, ours)}
    return {
        f"probe-{number}-device": wrong[row.device]
        for number, row in enumerate(rows)
        if row.device in wrong
    }
