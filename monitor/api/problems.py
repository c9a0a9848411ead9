"""Every error the API gives, as problem details (RFC 9457)."""

import logging
from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from monitor.documents.problems import Route
from monitor.errors import (
    Conflict,
    DewkeepError,
    NotFound,
    PictureError,
    SettingsError,
    StoreUnavailable,
)

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = 5

RESPONSES: dict[int | str, dict[str, Any]] = {
    "default": {
        "description": "Something is wrong; `errors` names the fields it is about.",
        "content": {
            MEDIA_TYPE: {
                "schema": {
                    "type": "object",
                    "required": ["type", "title", "status", "detail"],
                    "properties": {
                        "type": {"type": "string"},
                        "title": {"type": "string"},
                        "status": {"type": "integer"},
                        "detail": {"type": "string"},
                        "errors": {
                            "type": "array",
                            "items": {
                                "type": "object",
                                "required": ["field", "says"],
                                "properties": {
                                    "field": {"type": "string"},
                                    "says": {"type": "string"},
                                },
                            },
                        },
                    },
                }
            }
        },
    }
}
"""What OpenAPI says of all errors."""

_STATUS: tuple[tuple[type[DewkeepError], HTTPStatus], ...] = (
    (NotFound, HTTPStatus.NOT_FOUND),
    (Conflict, HTTPStatus.CONFLICT),
    (PictureError, HTTPStatus.UNPROCESSABLE_ENTITY),
    (SettingsError, HTTPStatus.UNPROCESSABLE_ENTITY),
    (StoreUnavailable, HTTPStatus.SERVICE_UNAVAILABLE),
)


def problem(
    status: HTTPStatus | int,
    detail: str,
    headers: Mapping[str, str] | None = None,
    **more: object,
) -> JSONResponse:
    """One problem; ``more`` are extension members such as ``errors``."""
    status = HTTPStatus(status)
    body: dict[str, object] = {"type": "about:blank", "title": status.phrase}
    body |= {"status": status, "detail": detail}
    return JSONResponse(body | more, status, headers=headers, media_type=MEDIA_TYPE)


def unfit(*found: tuple[Route, str]) -> RequestValidationError:
    """What is wrong with a request, by field, where the types alone could not tell."""
    return RequestValidationError(
        [{"loc": route, "msg": says, "type": "value_error"} for route, says in found]
    )


def install(app: FastAPI) -> None:
    """Answer every error of ``app`` as a problem."""
    app.add_exception_handler(DewkeepError, _of_dewkeep)
    app.add_exception_handler(RequestValidationError, _of_validation)
    app.add_exception_handler(HTTPException, _of_http)
    app.add_exception_handler(Exception, _of_anything)


def told(exc: DewkeepError) -> tuple[HTTPStatus, str]:
    """The status that one of our own errors is answered with, and its words for the outside.

    Words that name files of this machine go to the log instead.
    """
    status = next(
        (status for kind, status in _STATUS if isinstance(exc, kind)),
        HTTPStatus.INTERNAL_SERVER_ERROR,
    )
    if status < HTTPStatus.INTERNAL_SERVER_ERROR:
        return status, str(exc)
    log.error("request failed: %s", exc)
    return status, "the store cannot answer just now; the log tells more"


def _of_dewkeep(_request: Request, exc: Exception) -> JSONResponse:
    assert isinstance(exc, DewkeepError)  # noqa: S101 - what the handler is installed for
    status, says = told(exc)
    if isinstance(exc, SettingsError):
        errors = [{"field": p.key, "says": p.says} for p in exc.problems]
        return problem(status, says, errors=errors)
    headers = {"Retry-After": str(RETRY_AFTER_S)} if isinstance(exc, StoreUnavailable) else None
    return problem(status, says, headers)


def _of_validation(_request: Request, exc: Exception) -> JSONResponse:
    assert isinstance(exc, RequestValidationError)  # noqa: S101 - what the handler is installed for
    errors = [
        {"field": ".".join(str(part) for part in route), "says": says}
        for error in exc.errors()
        for route, says in _told(error)
    ]
    first = errors[0]
    return problem(
        HTTPStatus.UNPROCESSABLE_ENTITY, f"{first['field']}: {first['says']}", errors=errors
    )


def _told(error: Mapping[str, Any]) -> Iterable[tuple[Route, str]]:
    """One finding of pydantic; a validator of ours may have found several mistakes in one place."""
    route = error["loc"]
    if error["type"] == "faults":
        return [((*route, *below), says) for below, says in error["ctx"]["found"]]
    return [(route, str(error["msg"]).removeprefix("Value error, "))]


def _of_http(_request: Request, exc: Exception) -> JSONResponse:
    assert isinstance(exc, HTTPException)  # noqa: S101 - what the handler is installed for
    return problem(exc.status_code, str(exc.detail), exc.headers)


def _of_anything(_request: Request, exc: Exception) -> JSONResponse:
    log.error("request failed unexpectedly", exc_info=exc)
    return problem(
        HTTPStatus.INTERNAL_SERVER_ERROR,
        "dewkeep made a mistake; the log tells more",
    )
