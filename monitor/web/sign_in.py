"""Signing in with a token, signing out, and how a viewer likes to see things."""

from collections import deque
from threading import Lock

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from monitor.api.access import SESSION, session_of
from monitor.api.parts import GivenParts
from monitor.store.sqlite.state import sessions, tokens
from monitor.times import MINUTE_MS
from monitor.web import words
from monitor.web.guard import Page
from monitor.web.shell import GivenForm, page
from monitor.web.units import Pressure, Temperature, Units
from monitor.web.viewer import Theme, keep_cookie, keep_likings, likings_of

router = APIRouter(route_class=Page, include_in_schema=False)

MOST_TRIES = 10
WITHIN_MS = 5 * MINUTE_MS
_SEE_OTHER = 303


class Tries:
    """Wrong tokens of late, from wherever they came: guessing is slowed down for everybody.

    A token has 256 random bits, so this spares the log and the processor more than the house.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._failed: deque[int] = deque(maxlen=MOST_TRIES)

    def exhausted(self, now_ms: int) -> bool:
        """Whether there were too many."""
        with self._lock:
            return len(self._failed) == MOST_TRIES and now_ms - self._failed[0] < WITHIN_MS

    def failed(self, now_ms: int) -> None:
        """Count one."""
        with self._lock:
            self._failed.append(now_ms)


def safe(back: str) -> str:
    """An address of our own to go back to; the room instead of anything else."""
    ours = back.startswith("/") and not back.startswith(("//", "/\\")) and back.isprintable()
    return back if ours else "/"


@router.get("/sign-in")
def ask(request: Request, back: str = "/") -> HTMLResponse:
    """Ask for a token."""
    return page(request, "sign_in.html", back=safe(back), wrong=None)


@router.post("/sign-in")
def sign_in(request: Request, parts: GivenParts, form: GivenForm) -> Response:
    """Begin a session with a token, and lead to the page that was wanted."""
    back, now_ms = safe(form.text("back")), parts.clock()
    tries: Tries = request.app.state.tries
    if tries.exhausted(now_ms):
        return page(request, "sign_in.html", status=429, back=back, wrong=words.TOO_MANY_TRIES)
    with parts.database.reading() as connection:
        token = tokens.verify(connection, form.text("token"))
    if token is None:
        tries.failed(now_ms)
        return page(request, "sign_in.html", status=403, back=back, wrong=words.WRONG_TOKEN)
    with parts.database.transaction() as connection:
        session = sessions.begin(sessions.secret(connection), token, now_ms)
        tokens.used(connection, token.id, now_ms)
    answer = RedirectResponse(back, _SEE_OTHER)
    keep_cookie(request, answer, SESSION, session, sessions.LASTS_MS // 1000)
    return answer


@router.post("/sign-out")
def sign_out(request: Request, parts: GivenParts, _form: GivenForm) -> Response:
    """End the session, here and wherever a copy of it lies."""
    session = session_of(request, parts)
    if session is not None:
        with parts.database.transaction() as connection:
            sessions.end(connection, session)
    answer = RedirectResponse("/sign-in", _SEE_OTHER)
    answer.delete_cookie(SESSION)
    return answer


@router.get("/viewer")
def likings(request: Request, back: str = "/") -> HTMLResponse:
    """Ask for units and colours."""
    units, theme = likings_of(request)
    return page(request, "viewer.html", here="viewer", units=units, theme=theme, back=safe(back))


@router.post("/viewer")
def like(request: Request, form: GivenForm) -> Response:
    """Keep units and colours in this browser, and go back."""
    try:
        units = Units(Temperature(form.text("temperature")), Pressure(form.text("pressure")))
        theme = Theme(form.text("theme"))
    except ValueError as exc:
        raise HTTPException(422, str(exc)) from exc
    answer = RedirectResponse(safe(form.text("back")), _SEE_OTHER)
    keep_likings(request, answer, units, theme)
    return answer
