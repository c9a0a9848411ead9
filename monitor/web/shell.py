"""The shell around every page: where one can go, who looks, and in which units."""

from typing import Annotated, NamedTuple, cast

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse

from monitor.api.parts import Parts
from monitor.web import words
from monitor.web.forms import FORM_KEY, Form, checked
from monitor.web.rendering import render
from monitor.web.viewer import bound_to, viewer_of


class Link(NamedTuple):
    """One place to go."""

    name: str
    address: str
    here: bool


class Place(NamedTuple):
    """The enclosure that a page is about."""

    id: str
    name: str


def page(
    request: Request,
    template: str,
    here: str = "",
    place: Place | None = None,
    status: int = 200,
    **shown: object,
) -> HTMLResponse:
    """A whole page for whoever asks; ``here`` is its key in ``words.SECTIONS`` or ``words.PARTS``.

    Templates find ``viewer`` and ``links`` beside what is ``shown``, and ``place`` with its
    ``parts`` where the page is about an enclosure.
    """
    parts = cast("Parts", request.app.state.parts)
    section = "room" if place is not None else here
    text = render(
        template,
        viewer=viewer_of(request),
        links=[
            Link(name, f"/{path}", key == section)
            for key, (path, name) in words.SECTIONS.items()
            if parts.peers or key != words.IN_A_HOUSE
        ],
        place=place,
        parts=[] if place is None else _parts(place, here),
        **shown,
    )
    return HTMLResponse(text, status)


def _parts(place: Place, here: str) -> list[Link]:
    return [
        Link(name, f"/enclosures/{place.id}{path}", key == here)
        for key, (path, name) in words.PARTS.items()
    ]


async def _form(request: Request) -> Form:
    key = cast("bytes", getattr(request.app.state, FORM_KEY))
    return await checked(request, key, bound_to(request))


GivenForm = Annotated[Form, Depends(_form)]
"""The form that was sent; put it after who sends it, who is asked for first."""
