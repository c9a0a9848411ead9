"""Where things are reached: hosts, ports, addresses on the web, brokers."""

from pathlib import Path
from typing import Annotated, Self
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from monitor.documents.problems import faults
from monitor.documents.schema import EXPECTS
from monitor.setup.account import Account


def _web(value: str) -> str:
    try:
        parts = urlsplit(value)
        port = parts.port
    except ValueError as exc:
        raise ValueError(f"no usable address ({exc}); write https://HOST/PATH") from exc
    if parts.scheme not in ("http", "https"):
        raise ValueError(f"{parts.scheme or 'no'} scheme; write https://HOST/PATH or http://")
    if not parts.hostname or port == 0:
        raise ValueError("no host in it; write https://HOST/PATH")
    if parts.username is not None or parts.password is not None:
        raise ValueError("holds a name or password; leave it out")
    if not value.isascii() or not value.isprintable() or " " in value:
        raise ValueError("holds a blank or a letter outside ASCII; percent-encode it")
    return value


def _base(value: str) -> str:
    if "?" in value or "#" in value:
        raise ValueError("holds a ? or #; write only what comes before the paths of the page")
    return value.rstrip("/")


Host = Annotated[
    str,
    StringConstraints(pattern=r"^[A-Za-z0-9.:_-]+$"),
    Field(json_schema_extra={EXPECTS: "a host name or address, without scheme, port or path"}),
]
Port = Annotated[int, Field(ge=1, le=65_535)]
WebAddress = Annotated[str, AfterValidator(_web)]
"""An http or https address; it may hold a token, so its field should have ``repr=False``."""
BaseAddress = Annotated[WebAddress, AfterValidator(_base)]
"""An address that paths are added to."""


class MqttServer(Account):
    """An MQTT broker and how to sign in there."""

    host: Host = "127.0.0.1"
    """Name or address of the broker."""
    port: Port = 1883
    """Its TCP port; with TLS usually 8883."""
    tls: bool = False
    """Whether to speak TLS and check the broker's certificate."""
    ca_file: Path | None = None
    """File with the certificates to trust (PEM); without it those of the system."""

    @model_validator(mode="after")
    def _authority_needs_tls(self) -> Self:
        if self.ca_file is not None and not self.tls:
            raise faults([(("ca_file",), "does nothing without tls = true")])
        return self
