"""Who may do what: tokens, and the guards of an API that is open to its own machine."""

import ipaddress
from contextlib import suppress
from typing import Annotated, NamedTuple
from urllib.parse import urlsplit

from fastapi import Depends, HTTPException, Request
from fastapi.security import APIKeyCookie, HTTPAuthorizationCredentials, HTTPBearer
from starlette import types as asgi
from starlette.datastructures import Headers
from starlette.responses import Response

from monitor.api.parts import GivenParts, Parts
from monitor.api.problems import problem
from monitor.errors import StoreError
from monitor.store.sqlite.state import sessions, tokens
from monitor.store.sqlite.state.sessions import Session
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import MINUTE_MS

SESSION = "dewkeep_session"
"""The cookie of a browser that signed in."""

_bearer = HTTPBearer(auto_error=False, description="A token made with `dewkeep token new`")
_cookie = APIKeyCookie(
    name=SESSION, auto_error=False, description="Set by signing in at `/sign-in`"
)
Bearer = Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)]
FromCookie = Annotated[str | None, Depends(_cookie)]
"""Both only tell OpenAPI how one signs in: ``whoever`` looks for itself."""

LINKS = "/acknowledge/"
"""Below here a ticket in the address takes the place of a token."""
KEEPER = "keeper"
"""Who acts when no token is needed."""


def is_loopback(host: str) -> bool:
    """Whether a host name or address means this machine only."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


class OwnMachineOnly:
    """Keeps other people's web pages out of an API that asks for no token.

    A page in the keeper's browser can reach loopback addresses. Under a foreign name (DNS
    rebinding) it gives itself away by ``Host``, otherwise by ``Origin``. The links in notifications
    are for phones, through a proxy: they need no such guard, as they bring their own key.
    """

    def __init__(self, app: asgi.ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: asgi.Scope, receive: asgi.Receive, send: asgi.Send) -> None:
        """Refuse what does not come from a page or program of this machine."""
        guarded = scope["type"] == "http" and not scope["path"].startswith(LINKS)
        refusal = _refusal(Headers(scope=scope)) if guarded else None
        await (refusal or self._app)(scope, receive, send)


def _refusal(headers: Headers) -> Response | None:
    host, origin = headers.get("host"), headers.get("origin")
    if host is not None and not is_loopback(_host_of(f"//{host}")):
        return problem(421, f"this address is open to its own machine only, not as {host!r}")
    if origin is not None and not is_loopback(_host_of(origin)):
        return problem(403, f"pages from {origin!r} may not call this address")
    return None


def _host_of(url: str) -> str:
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""


def is_same_origin(request: Request) -> bool:
    """Whether a request was sent by a page of ours.

    A browser says so in ``Sec-Fetch-Site`` (over TLS and on loopback addresses) and in ``Origin``;
    no page can forge either.
    """
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = urlsplit(request.headers.get("origin", ""))
    return bool(origin.netloc) and origin.netloc == request.headers.get("host")


class Person(NamedTuple):
    """Who makes a request, and what they may do."""

    name: str
    scope: Scope


def whoever(request: Request, parts: Parts) -> Person | None:
    """Whose token or session a request carries; None if it carries neither.

    A session lies in a cookie, which a browser sends whoever made it ask: it changes nothing unless
    a page of ours did.

    Raises:
        HTTPException: 401, the token is not valid; 403, a session is used from elsewhere.
    """
    if not parts.needs_token:
        return Person(KEEPER, Scope.OPERATE)
    scheme, _, bearer = request.headers.get("authorization", "").partition(" ")
    now_ms = parts.clock()
    if scheme.lower() == "bearer":
        with parts.database.reading() as connection:
            token = tokens.verify(connection, bearer.strip())
        if token is None:
            raise HTTPException(
                401, "this token is not valid", {"WWW-Authenticate": 'Bearer error="invalid_token"'}
            )
    else:
        session = session_of(request, parts)
        if session is None:
            return None
        if request.method not in ("GET", "HEAD") and not is_same_origin(request):
            raise HTTPException(403, "this was not sent from a page of dewkeep itself")
        token = session.token
    if token.last_used_ms is None or now_ms - token.last_used_ms > MINUTE_MS:
        # A store that takes nothing just now is no reason to show nothing.
        with suppress(StoreError), parts.database.transaction() as writing:
            tokens.used(writing, token.id, now_ms)
    return Person(token.name, token.scope)


def session_of(request: Request, parts: Parts) -> Session | None:
    """The session that a browser is signed in with."""
    text = request.cookies.get(SESSION)
    if text is None:
        return None
    with parts.database.reading() as connection:
        return sessions.read(connection, text, parts.clock())


class _Needs:
    """A dependency that lets a request through and says who acts."""

    def __init__(self, scope: Scope) -> None:
        self._scope = scope

    def __call__(
        self, request: Request, parts: GivenParts, _bearer: Bearer, _session: FromCookie
    ) -> str:
        person = whoever(request, parts)
        if person is None:
            raise HTTPException(
                401,
                "a token is needed; make one with `dewkeep token new --scope view`",
                {"WWW-Authenticate": "Bearer"},
            )
        if not person.scope.allows(self._scope):
            raise HTTPException(403, f"this needs a token with scope {self._scope}")
        return person.name


MayView = Annotated[str, Depends(_Needs(Scope.VIEW))]
"""Who looks; the request is refused without a token of scope view."""
MayOperate = Annotated[str, Depends(_Needs(Scope.OPERATE))]
"""Who acts; the request is refused without a token of scope operate."""
