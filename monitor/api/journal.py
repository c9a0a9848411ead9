"""The keeper's journal."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request, Response

from monitor.api.access import MayOperate, MayView
from monitor.api.paging import PAGE, BeforeNumber, Limit, Number, cursor, link_next
from monitor.api.parts import GivenParts
from monitor.api.photos import told
from monitor.api.problems import unfit
from monitor.setup.journal import KINDS, Entry, Source
from monitor.store.sqlite.photos import remove_entry
from monitor.store.sqlite.state import journal, photos, setup
from monitor.store.sqlite.state.journal import JournalRow
from monitor.store.sqlite.state.photos import PhotoRow

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
        pictures = photos.of(connection, [row.id for row in rows])
    if rows:
        last = rows[-1]
        link_next(request, response, rows, limit, f"{last.entry.at_ms}_{last.id}")
    return [_shown(row, pictures.get(row.id, ())) for row in rows]


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


@router.delete("/enclosures/{enclosure}/journal/{entry}", status_code=204)
def delete_entry(enclosure: str, entry: Number, parts: GivenParts, _who: MayOperate) -> None:
    """Take out an entry that was written by mistake, with its photos."""
    remove_entry(parts.database, enclosure, entry)


def _shown(row: JournalRow, pictures: Sequence[PhotoRow] = ()) -> dict[str, Any]:
    shown: dict[str, Any] = row.entry.model_dump(mode="json", by_alias=True, exclude_none=True)
    return {"id": row.id, "source": row.source, "photos": [told(each) for each in pictures]} | shown
