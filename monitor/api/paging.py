"""Long lists in pages: the next page's address is in the ``Link`` header (RFC 8288)."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import Path, Query, Request, Response

LARGEST = 10**15
"""No number that the database gives comes near it, and it can look for all below."""
PAGE = 100
MOST = 1_000

Limit = Annotated[int, Query(ge=1, le=MOST, description="Entries on a page.")]
_BEFORE = "Where the page starts; taken from the Link header."

Number = Annotated[int, Path(ge=0, le=LARGEST)]
"""A thing's number, as part of an address."""
BeforeText = Annotated[
    str | None, Query(alias="before", description=_BEFORE, pattern=r"^\d{1,15}_.{1,400}$")
]
"""The start of a page as time and id."""
BeforeNumber = Annotated[
    str | None, Query(alias="before", description=_BEFORE, pattern=r"^\d{1,15}_\d{1,15}$")
]
"""The start of a page as time and number."""


def cursor(before: str | None) -> tuple[int, str] | None:
    """A page's start in its two parts."""
    if before is None:
        return None
    at, _, key = before.partition("_")
    return int(at), key


def link_next(
    request: Request, response: Response, entries: Sequence[object], limit: int, last: str
) -> None:
    """Point to the next page if this one is full."""
    if len(entries) >= limit:
        response.headers["Link"] = f'<{request.url.include_query_params(before=last)}>; rel="next"'
