"""What a browser may do with the pages, and whose forms are heeded."""

from collections.abc import Callable, Coroutine
from typing import Any
from urllib.parse import urlsplit

from fastapi import HTTPException, Request, Response
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException as AnyHTTPException

from monitor.api.problems import told
from monitor.errors import DewkeepError
from monitor.web.rendering import render

POLICY = "; ".join(
    (
        "default-src 'none'",
        "style-src 'self'",
        "img-src 'self' data:",
        "script-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # With no referrer at all a form would be sent without a usable Origin.
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Page(APIRoute):
    """A route for people: its errors are pages too, and every answer carries the headers."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler that FastAPI made, with ours around it."""
        answer = super().get_route_handler()

        async def guarded(request: Request) -> Response:
            try:
                response = await answer(request)
            except AnyHTTPException as exc:
                response = refusal(exc.status_code, str(exc.detail))
                response.headers.update(exc.headers or {})
            except DewkeepError as exc:
                response = refusal(*told(exc))
            for name, value in HEADERS.items():
                response.headers.setdefault(name, value)
            return response

        return guarded


def refusal(status: int, says: str) -> Response:
    """A plain page that says why there is nothing else to see."""
    return Response(
        render("refusal.html", status=status, says=says), status, media_type="text/html"
    )


def same_origin(request: Request) -> None:
    """A dependency that refuses forms which a page of ours did not send.

    A browser says so in ``Sec-Fetch-Site`` (over TLS and on loopback addresses) and in ``Origin``;
    no page can forge either.

    Raises:
        HTTPException: 403, neither says that the form is ours.
    """
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        ours = site == "same-origin"
    else:
        origin = urlsplit(request.headers.get("origin", ""))
        ours = bool(origin.netloc) and origin.netloc == request.headers.get("host")
    if not ours:
        raise HTTPException(403, "this form was not sent from a page of dewkeep itself")
