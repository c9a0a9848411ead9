"""Long lists in pages: the next page's address is in the ``Link`` header (RFC 8288)."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import HTTPException, Query, Request, Response

PAGE = 100
MOST = 1_000

Limit = Annotated[int, Query(ge=1, le=MOST, description="Entries on a page.")]
Before = Annotated[
    str | None, Query(description="Where the page starts; taken from the Link header.")
]


def cursor(before: str | None) -> tuple[int, str] | None:
    """A page's start as time and id.

    Raises:
        HTTPException: the text is no page start (422).
    """
    if before is None:
        return None
    at, _, key = before.partition("_")
    if not key or not at.isascii() or not at.isdigit():
        raise HTTPException(422, f"before: {before!r} is no page; follow the Link header")
    return int(at), key


def link_next(
    request: Request, response: Response, entries: Sequence[object], limit: int, last: str
) -> None:
    """Point to the next page if this one is full."""
    if len(entries) >= limit:
        response.headers["Link"] = f'<{request.url.include_query_params(before=last)}>; rel="next"'
