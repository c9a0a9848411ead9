"""A form that carries one file, heeded on the same terms as every other form."""

from collections.abc import AsyncGenerator
from typing import NamedTuple

from fastapi import HTTPException, Request
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from monitor.api.access import is_same_origin
from monitor.web import words
from monitor.web.forms import LARGEST_BYTES, Form, must_be_ours

MOST_FIELDS = 10
_TYPE = "multipart/form-data"


class Upload(NamedTuple):
    """A checked form and the bytes of its file; none if none was chosen."""

    form: Form
    file: bytes


async def checked_upload(request: Request, key: bytes, bound_to: str, largest: int) -> Upload:
    """The form with a file that a request brings; ``largest``: bytes that the file may have.

    Raises:
        HTTPException: 403, no page of ours served to this browser sent it; 413, 415, 422, it is
            none of our forms.
    """
    if not is_same_origin(request):
        raise HTTPException(403, "this form was not sent from a page of dewkeep itself")
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != _TYPE:
        raise HTTPException(415, words.NOT_A_FORM)
    parser = MultiPartParser(
        request.headers,
        _no_more_than(request, largest + LARGEST_BYTES),
        max_files=1,
        max_fields=MOST_FIELDS,
    )
    try:
        data = await parser.parse()
    except (MultiPartException, ValueError) as exc:
        raise HTTPException(422, f"this form cannot be read: {exc}") from exc
    try:
        fields = [(name, each) for name, each in data.multi_items() if isinstance(each, str)]
        must_be_ours(form := Form(fields), key, bound_to)
        file = b""
        for _, each in data.multi_items():
            if isinstance(each, UploadFile):
                file = await each.read()
    finally:
        await data.close()
    if len(file) > largest:
        raise _too_large(largest)
    return Upload(form, file)


async def _no_more_than(request: Request, most: int) -> AsyncGenerator[bytes, None]:
    """The body, as soon as it is known not to be too large."""
    size = 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > most:
            raise _too_large(most)
        yield chunk


def _too_large(most: int) -> HTTPException:
    return HTTPException(413, f"larger than {most / 1e6:g} MB (photos.largest_mb)")
