"""The keeper's journal."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request, Response

from monitor.api.access import MayOperate, MayView
from monitor.api.paging import PAGE, BeforeNumber, Limit, cursor, link_next
from monitor.api.parts import GivenParts
from monitor.api.problems import unfit
from monitor.setup.journal import KINDS, Entry, Source
from monitor.store.sqlite.state import journal, setup
from monitor.store.sqlite.state.journal import JournalRow

router = APIRouter(tags=["journal"])


@router.get("/enclosures/{enclosure}/journal")
def list_entries(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    request: Request,
    response: Response,
    kind: Annotated[list[str] | None, Query(description="Only these kinds.")] = None,
    limit: Limit = PAGE,
    before: BeforeNumber = None,
) -> list[dict[str, Any]]:
    """What was seen and done, newest first."""
    strange = sorted(set(kind or ()) - set(KINDS))
    if strange:
        says = f"no kind of entry is {strange[0]!r}; there is {', '.join(KINDS)}"
        raise unfit((("query", "kind"), says))
    start = cursor(before)
    with parts.database.reading() as connection:
        setup.get(connection, enclosure)
        rows = journal.page(
            connection,
            enclosure,
            kinds=kind or (),
            before=None if start is None else (start[0], int(start[1])),
            limit=limit,
        )
    if rows:
        last = rows[-1]
        link_next(request, response, rows, limit, f"{last.entry.at_ms}_{last.id}")
    return [_shown(row) for row in rows]


@router.post("/enclosures/{enclosure}/journal", status_code=201)
def write_entry(
    enclosure: str, parts: GivenParts, _who: MayOperate, entry: Annotated[Entry, Body()]
) -> dict[str, Any]:
    """Write an entry."""
    now_ms = parts.clock()
    with parts.database.transaction() as connection:
        setup.get(connection, enclosure)
        number = journal.add(connection, enclosure, entry, Source.KEEPER, now_ms)
    return _shown(JournalRow(number, enclosure, Source.KEEPER, now_ms, entry))


def _shown(row: JournalRow) -> dict[str, Any]:
    shown: dict[str, Any] = row.entry.model_dump(mode="json", by_alias=True, exclude_none=True)
    return {"id": row.id, "source": row.source} | shown
