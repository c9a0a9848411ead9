"""The other daemons of a house: where each is asked for what it watches."""

import ssl
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Self
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, model_validator

from monitor.documents.base import Identifier, Model
from monitor.documents.problems import Route, faults
from monitor.errors import Problem, SettingsError
from monitor.setup.account import secret_of
from monitor.setup.address import BaseAddress
from monitor.setup.trust import trusting

HERE = ("127.0.0.1", "localhost", "::1")
EVERYWHERE = ("0.0.0.0", "::")  # noqa: S104 - compared with, not listened on
DEFAULT_PORTS = {"http": 80, "https": 443}


class Peer(Model):
    """Another daemon of the same house."""

    name: Identifier
    """Its ``broker.client_id``."""
    url: BaseAddress
    """Where its page is reached, by this daemon and by whoever follows a link to it."""
    token_file: Path | None = None
    """File with a token of scope view of its own; without one it is asked without."""
    token: SecretStr | None = Field(default=None)
    """The token, from the environment only."""
    ca_file: Path | None = None
    """File with the certificates to trust (PEM); without it those of the system."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.ca_file is not None and not self.secure:
            raise faults([(("ca_file",), "does nothing without an https url")])
        return self

    @property
    def secure(self) -> bool:
        """Whether it is asked over TLS."""
        return urlsplit(self.url).scheme == "https"

    def secret(self) -> str | None:
        """The token to ask with, if there is one.

        Raises:
            SettingsError: its file cannot be read, or holds something else.
        """
        token = secret_of(self.token, self.token_file)
        if token is not None and not (token.isascii() and token.isprintable() and " " not in token):
            where = "environment" if self.token is not None else str(self.token_file)
            says = f"the token of peer {self.name} must be one word on one line; write it alone"
            raise SettingsError([Problem(where, "", says)])
        return token

    def tls_context(self) -> ssl.SSLContext | None:
        """What to connect with; None without TLS.

        Raises:
            SettingsError: ``ca_file`` holds no certificates.
        """
        return trusting(self.ca_file) if self.secure else None


def mistaken(
    peers: Sequence[Peer], own_name: str, host: str, port: int, public_url: str | None
) -> Iterator[tuple[Route, str]]:
    """What does not fit together between peers, and with the daemon that asks them."""
    own = {
        ("http", each, port)
        for each in ((*HERE, host) if host in (*HERE, *EVERYWHERE) else (host,))
    }
    if public_url is not None:
        own.add(_spot(public_url))
    names = [peer.name for peer in peers]
    urls = [peer.url for peer in peers]
    for number, peer in enumerate(peers):
        if peer.name == own_name:
            says = f"{own_name!r} is this daemon's own broker.client_id; name the others only"
            yield (number, "name"), says
        if peer.name in names[:number]:
            yield (number, "name"), f"two peers are named {peer.name!r}"
        if _spot(peer.url) in own:
            yield (number, "url"), f"{peer.url} is this daemon itself; write where the other one is"
        if peer.url in urls[:number]:
            yield (number, "url"), f"two peers are at {peer.url}"


def _spot(url: str) -> tuple[str, str, int]:
    parts = urlsplit(url)
    return parts.scheme, parts.hostname or "", parts.port or DEFAULT_PORTS[parts.scheme]
