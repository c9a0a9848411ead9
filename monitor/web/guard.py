"""What a browser may do with the pages, and what it is shown when something is refused."""

import logging
from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException as AnyHTTPException

from monitor.api.problems import told
from monitor.errors import DewkeepError
from monitor.web import words
from monitor.web.shell import page
from monitor.web.viewer import keep_visit

log = logging.getLogger(__name__)

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
UNPROCESSABLE = 422


class Page(APIRoute):
    """A route for people: its errors are pages too, and every answer carries the headers."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler that FastAPI made, with ours around it."""
        answer = super().get_route_handler()

        async def guarded(request: Request) -> Response:
            try:
                response = await answer(request)
            except AnyHTTPException as exc:
                response = refusal(request, exc.status_code, str(exc.detail))
                response.headers.update(exc.headers or {})
            except RequestValidationError as exc:
                says = "; ".join(str(error["msg"]) for error in exc.errors())
                response = refusal(request, UNPROCESSABLE, says)
            except DewkeepError as exc:
                response = refusal(request, *told(exc))
            except Exception:
                log.exception("a page failed")
                response = refusal(request, 500, words.MISTAKE)
            for name, value in HEADERS.items():
                response.headers.setdefault(name, value)
            keep_visit(request, response)
            return response

        return guarded


def refusal(request: Request, status: int, says: str) -> Response:
    """A plain page that says why there is nothing else to see, or asks to sign in."""
    return page(request, "refusal.html", status=status, code=status, says=says)
