"""Forms: read, and heeded only when a page of ours sent them.

Two proofs are asked for: the browser's word that the request comes from our own origin, and a text
that only a page served to this very browser carries.
"""

import hashlib
import hmac
import secrets
from collections.abc import Iterator
from urllib.parse import parse_qsl

from fastapi import HTTPException, Request

from monitor.api.access import is_same_origin

FORM_KEY = "form_key"
"""Where the application keeps the key of its forms."""
PROOF = "form"
"""The hidden field with the proof."""
LARGEST_BYTES = 128 * 1024
MOST_FIELDS = 2_000
_TYPE = "application/x-www-form-urlencoded"


class Form:
    """What was filled in: fields by name, each with one text or several."""

    def __init__(self, fields: list[tuple[str, str]]) -> None:
        self._fields = fields

    def __iter__(self) -> Iterator[tuple[str, str]]:
        return iter(self._fields)

    def all(self, name: str) -> list[str]:
        """Every text of a field."""
        return [text for each, text in self._fields if each == name]

    def text(self, name: str) -> str:
        """The text of a field without space around it; empty if it is not there."""
        return next((text.strip() for each, text in self._fields if each == name), "")


def form_token(key: bytes, bound_to: str) -> str:
    """A proof for a form; another one for each page, so that no compression gives it away."""
    salt = secrets.token_hex(8)
    return f"{salt}.{_sign(key, bound_to, salt)}"


async def checked(request: Request, key: bytes, bound_to: str) -> Form:
    """The form that a request brings.

    Raises:
        HTTPException: 403, no page of ours served to this browser sent it; 413, 415, 422, it is
            none of our forms.
    """
    if not is_same_origin(request):
        raise HTTPException(403, "this form was not sent from a page of dewkeep itself")
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != _TYPE:
        raise HTTPException(415, f"forms are sent as {_TYPE}")
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_BYTES:
            raise HTTPException(413, f"a form holds at most {LARGEST_BYTES} bytes")
    try:
        text = bytes(body).decode()
        form = Form(parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS))
    except ValueError as exc:
        raise HTTPException(422, f"this form cannot be read: {exc}") from exc
    must_be_ours(form, key, bound_to)
    return form


def must_be_ours(form: Form, key: bytes, bound_to: str) -> None:
    """Let a form through that a page of ours served to this browser.

    Raises:
        HTTPException: 403, it lacks the proof.
    """
    salt, _, signature = form.text(PROOF).partition(".")
    if not hmac.compare_digest(signature.encode(), _sign(key, bound_to, salt).encode()):
        raise HTTPException(403, "this form is too old or not yours; load the page again")


def _sign(key: bytes, bound_to: str, salt: str) -> str:
    return hmac.new(key, f"form\n{bound_to}\n{salt}".encode(), hashlib.sha256).hexdigest()
