"""Who looks at a page, and how they like to see it; their likings lie in a cookie of theirs."""

import re
import secrets
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from typing import cast

from fastapi import HTTPException, Request, Response

from monitor.api.access import Person, session_of, whoever
from monitor.api.parts import Parts
from monitor.errors import StoreError
from monitor.store.sqlite.state.tokens import Scope
from monitor.web.forms import FORM_KEY, form_token
from monitor.web.units import Pressure, Temperature, Units

LIKINGS = "dewkeep_view"
"""The cookie with units and colours."""
VISIT = "dewkeep_visit"
"""The cookie that the forms of a browser are bound to."""

_VISIT = re.compile(r"[0-9a-f]{32}", re.ASCII)
_FOR_A_YEAR_S = 31_536_000


class Theme(StrEnum):
    """Which colours to show."""

    AUTO = "auto"
    LIGHT = "light"
    DARK = "dark"


@dataclass(frozen=True, slots=True)
class Viewer:
    """Whoever looks; ``person`` is None before signing in."""

    person: Person | None
    signs_in: bool
    """Whether one signs in here at all: not where dewkeep listens to its own machine."""
    units: Units
    theme: Theme
    form: str
    """The proof that a form of this page carries."""
    back: str
    """The address of this page."""

    @property
    def may_operate(self) -> bool:
        """Whether to offer what changes things."""
        return self.person is not None and self.person.scope is Scope.OPERATE


def viewer_of(request: Request) -> Viewer:
    """The viewer behind a request; never raises."""
    parts = cast("Parts", request.app.state.parts)
    person = None
    with suppress(HTTPException, StoreError):
        person = whoever(request, parts)
    units, theme = likings_of(request)
    query = f"?{request.url.query}" if request.url.query else ""
    return Viewer(
        person=person,
        signs_in=parts.needs_token,
        units=units,
        theme=theme,
        form=form_token(cast("bytes", getattr(request.app.state, FORM_KEY)), bound_to(request)),
        back=request.url.path + query if request.method == "GET" else "/",
    )


def likings_of(request: Request) -> tuple[Units, Theme]:
    """How the viewer likes to see things; what the cookie says wrong is as if unsaid."""
    likings: list[str] = request.cookies.get(LIKINGS, "").split(".")
    if len(likings) != len(("temperature", "pressure", "theme")):
        return Units(), Theme.AUTO
    temperature, pressure, theme = likings
    try:
        return Units(Temperature(temperature), Pressure(pressure)), Theme(theme)
    except ValueError:
        return Units(), Theme.AUTO


def keep_likings(request: Request, response: Response, units: Units, theme: Theme) -> None:
    """Remember them in the browser."""
    text = ".".join((units.temperature, units.pressure, theme))
    keep_cookie(request, response, LIKINGS, text, _FOR_A_YEAR_S)


def keep_cookie(
    request: Request, response: Response, name: str, text: str, seconds: int | None
) -> None:
    """Give the browser a cookie that no script and no other site can use."""
    response.set_cookie(
        name,
        text,
        max_age=seconds,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )


def visit_of(request: Request) -> str:
    """What tells this browser from others; a new one if it has none that could be ours."""
    told = request.cookies.get(VISIT, "")
    if _VISIT.fullmatch(told):
        return told
    if not hasattr(request.state, "new_visit"):
        request.state.new_visit = secrets.token_hex(16)
    return cast("str", request.state.new_visit)


def keep_visit(request: Request, response: Response) -> None:
    """Give the browser what its forms were bound to, if it did not have it."""
    if hasattr(request.state, "new_visit"):
        keep_cookie(request, response, VISIT, request.state.new_visit, _FOR_A_YEAR_S)


def bound_to(request: Request) -> str:
    """What a form of this browser is bound to: its visit, and its session if it is signed in."""
    session = None
    with suppress(StoreError):  # a page that says so must still come
        session = session_of(request, cast("Parts", request.app.state.parts))
    return f"{visit_of(request)} {session.nonce if session else ''}"
