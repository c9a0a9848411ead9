"""The ways a notification can leave: one model for each kind of ``[[channel]]``."""

from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from pydantic import Field, field_validator

from monitor.setup.models import Identifier, Model

PriorityName = Literal["critical", "warning", "advice"]


class Webhook(Model):
    """POSTs a signed JSON document to an address."""

    name: Identifier
    kind: Literal["webhook"]
    from_priority: PriorityName = "warning"
    """The least urgent alarms that are sent: ``critical``, ``warning`` (and critical), ``advice``
    (all)."""
    url: str = Field(repr=False)
    """Where to POST, http or https; it may hold a token, so it is not shown."""
    secret_file: Path | None = None
    """File with the secret shared with the receiver; without it requests carry no signature."""
    allow_private: bool = False
    """Whether the address may lie in this machine or its own network."""

    @field_validator("url")
    @classmethod
    def _usable(cls, value: str) -> str:
        try:
            parts = urlsplit(value)
            port = parts.port
        except ValueError as exc:
            raise ValueError(f"no usable address ({exc}); write https://HOST/PATH") from exc
        if parts.scheme not in ("http", "https"):
            raise ValueError(f"{parts.scheme or 'no'} scheme; write https://HOST/PATH or http://")
        if not parts.hostname or port == 0:
            raise ValueError("no host to send to; write https://HOST/PATH")
        if parts.username is not None or parts.password is not None:
            raise ValueError("holds a name or password; leave it out and sign with secret_file")
        if not value.isascii() or not value.isprintable() or " " in value:
            raise ValueError("holds a blank or a letter outside ASCII; percent-encode it")
        return value


Channel = Webhook
"""Any channel; further kinds join here as a union told apart by ``kind``."""
