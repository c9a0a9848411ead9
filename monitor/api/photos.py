"""Photos of journal entries: one picture to a request, as its plain bytes."""

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Request
from fastapi.responses import FileResponse, Response
from starlette.concurrency import run_in_threadpool

from monitor.api.access import MayOperate, MayView
from monitor.api.paging import Number
from monitor.api.parts import GivenParts, Parts
from monitor.errors import NotFound
from monitor.store.sqlite import photos as kept
from monitor.store.sqlite.state import journal, photos
from monitor.store.sqlite.state.photos import PhotoRow
from monitor.times import rfc3339

router = APIRouter(tags=["journal"])

BELOW = "/enclosures/{enclosure}/journal/{entry}/photos"
TYPES = ("image/jpeg", "image/png", "image/webp")

Name = Annotated[str, Path(pattern="^[0-9a-f]{64}$", description="SHA-256 of the picture.")]

HEADERS = {
    "Cache-Control": "private, max-age=31536000, immutable",
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}
"""A name belongs to its bytes for good; and should a picture ever be more than one, it does
nothing."""

_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {each: {"schema": {"type": "string", "format": "binary"}} for each in TYPES},
    }
}


@router.post(BELOW, status_code=201, openapi_extra=_BODY)
async def add_photo(
    enclosure: str, entry: Number, parts: GivenParts, _who: MayOperate, request: Request
) -> dict[str, Any]:
    """Keep a photo with an entry. It is written anew, without what its file tells beside it."""
    # Also keeps forms of other pages out: they cannot send this type without being asked first.
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in TYPES:
        raise HTTPException(415, f"send the picture as it is, as one of {', '.join(TYPES)}")
    data = await _body(request, round(parts.settings.photos.largest_mb * 1e6))
    row = await run_in_threadpool(
        kept.add, parts.database, enclosure, entry, data, parts.settings.photos, parts.clock()
    )
    return told(row)


@router.get(f"{BELOW}/{{name}}")
def get_photo(
    enclosure: str, entry: Number, name: Name, parts: GivenParts, _who: MayView, request: Request
) -> Response:
    """A photo, JPEG."""
    return _file(parts, enclosure, entry, name, request, thumbnail=False)


@router.get(f"{BELOW}/{{name}}/thumbnail")
def get_thumbnail(
    enclosure: str, entry: Number, name: Name, parts: GivenParts, _who: MayView, request: Request
) -> Response:
    """The same, 400 pixels at most, JPEG."""
    return _file(parts, enclosure, entry, name, request, thumbnail=True)


@router.delete(f"{BELOW}/{{name}}", status_code=204)
def delete_photo(
    enclosure: str, entry: Number, name: Name, parts: GivenParts, _who: MayOperate
) -> None:
    """Take a photo out of an entry."""
    kept.remove(parts.database, enclosure, entry, name)


def told(row: PhotoRow) -> dict[str, Any]:
    """A photo as the API lists it; ``id`` is the last part of its address."""
    return {
        "id": row.name,
        "width": row.width,
        "height": row.height,
        "bytes": row.bytes,
        "added_at": rfc3339(row.created_ms),
    }


def _file(
    parts: Parts, enclosure: str, entry: int, name: str, request: Request, *, thumbnail: bool
) -> Response:
    with parts.database.reading() as connection:
        journal.get(connection, enclosure, entry)
        rows = photos.of(connection, [entry]).get(entry, ())
    path = kept.file_of(parts.database.path, name, thumbnail=thumbnail)
    if name not in {row.name for row in rows} or not path.is_file():
        raise NotFound(f"entry {entry} has no photo {name!r}")
    tag = f'"{name}{"-thumbnail" if thumbnail else ""}"'
    headers = HEADERS | {"ETag": tag}
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return FileResponse(path, media_type="image/jpeg", headers=headers)


async def _body(request: Request, most: int) -> bytes:
    """The body, as soon as it is known not to be too large."""
    data = bytearray()
    async for piece in request.stream():
        data += piece
        if len(data) > most:
            raise HTTPException(413, f"larger than {most / 1e6:g} MB (photos.largest_mb)")
    return bytes(data)
