"""Spans of time that a request asks about."""

from typing import Annotated

from fastapi import Query
from pydantic import BeforeValidator, WithJsonSchema

from monitor.api.problems import unfit
from monitor.times import parse_rfc3339, rfc3339


def _instant(value: object) -> object:
    return parse_rfc3339(value) if isinstance(value, str) else value


Instant = Annotated[
    int,
    BeforeValidator(_instant),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
From = Annotated[Instant | None, Query(alias="from", description="Where the span begins.")]
To = Annotated[Instant | None, Query(alias="to", description="Where it ends. Default: now.")]


def span(start: int | None, end: int | None, now_ms: int, usual_ms: int) -> tuple[int, int]:
    """Start and end in epoch ms; by default ``usual_ms`` long and up to now.

    Raises:
        RequestValidationError: they are the wrong way round.
    """
    end_ms = now_ms if end is None else end
    start_ms = end_ms - usual_ms if start is None else start
    if start_ms >= end_ms:
        raise unfit((("query", "from"), f"must lie before `to` ({rfc3339(end_ms)})"))
    return start_ms, end_ms
