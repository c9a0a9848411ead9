"""Where things are reached: hosts, ports, addresses on the web, brokers."""

import ssl
from pathlib import Path
from typing import Annotated, Self
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from monitor.documents.problems import faults
from monitor.documents.schema import EXPECTS
from monitor.setup.account import Account
from monitor.setup.trust import trusting


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
    cert_file: Path | None = None
    """File with the certificate to show to a broker that asks for one (PEM)."""
    key_file: Path | None = None
    """File with the private key of that certificate (PEM, without a passphrase)."""

    @model_validator(mode="after")
    def _certificates_fit_together(self) -> Self:
        found = [
            ((key,), "does nothing without tls = true")
            for key in ("ca_file", "cert_file", "key_file")
            if getattr(self, key) is not None and not self.tls
        ]
        if (self.cert_file is None) is not (self.key_file is None):
            missing = "cert_file" if self.cert_file is None else "key_file"
            found.append(((missing,), "is missing; a certificate and its key go together"))
        if found:
            raise faults(found)
        return self

    def tls_context(self) -> ssl.SSLContext | None:
        """What to connect with; None without TLS.

        Raises:
            SettingsError: a file holds no certificate or no fitting key.
        """
        return trusting(self.ca_file, self.cert_file, self.key_file) if self.tls else None
