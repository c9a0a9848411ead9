"""Asking one other daemon what it watches, and saying in plain words why it could not be learnt."""

import socket
import ssl
import time
from collections.abc import Callable
from http import HTTPStatus

import urllib3
from pydantic import ValidationError
from urllib3.exceptions import (
    ConnectTimeoutError,
    HTTPError,
    NameResolutionError,
    NewConnectionError,
    ReadTimeoutError,
    SSLError,
)

from monitor import __version__
from monitor.errors import PeerError
from monitor.house.told import Told
from monitor.setup.peers import Peer

PATH = "/api/v1/house/own"
"""What is asked for: a daemon's own, never what it knows of others."""
WITHIN_S = 5.0
LARGEST_BYTES = 8_000_000
"""The answer of a daemon with several thousand enclosures is shorter."""
PIECE_BYTES = 65_536

NO_CONNECTION = "no connection ({})"
NO_NAME = "its name is not known in this network"
TOO_LATE = "no answer within {:g} s"
BROKE_OFF = "it broke off while answering"
UNTRUSTED = "its certificate is not trusted ({})"
REFUSED = (
    "it does not take our token (HTTP {}); make one there with `dewkeep token new --scope view` "
    "and put it into the token_file of this peer"
)
MOVED = "HTTP {}: redirects are not followed; set its new url"
NOT_THERE = (
    "HTTP 404: nothing there knows of a house; is its url right, its dewkeep as new as this?"
)
OTHER_STATUS = "HTTP {}"
TOO_LONG = "its answer is longer than {:,} bytes"
NO_JSON = "its answer is no JSON; is its url right?"
UNREADABLE = "its answer cannot be read ({}: {}); does it run the same version ({})?"
SOMEONE_ELSE = "{} answers there; put its url right"
OURSELVES = "this daemon itself answers there; put its url right"


class Question:
    """What is asked of one peer, always the same; not for several threads at once.

    Redirects are not followed and proxies of the environment are not used: the token goes to the
    address in the settings and nowhere else.

    Raises:
        SettingsError: its token or its certificates cannot be had.
    """

    def __init__(
        self,
        peer: Peer,
        own_name: str,
        *,
        within_s: float = WITHIN_S,
        largest_bytes: int = LARGEST_BYTES,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self._name = peer.name
        self._own_name = own_name
        self._url = peer.url + PATH
        self._within_s = within_s
        self._largest_bytes = largest_bytes
        self._steady = steady
        self._tls = peer.tls_context()
        self._headers = {"User-Agent": f"dewkeep/{__version__}", "Accept": "application/json"}
        token = peer.secret()
        if token is not None:
            self._headers["Authorization"] = f"Bearer {token}"

    def ask(self) -> Told:
        """What it watches.

        Raises:
            PeerError: there was no answer, or none that is of use.
        """
        until = self._steady() + self._within_s
        try:
            # Always anew: a connection that is kept may be closed in the moment of the next asking.
            with urllib3.PoolManager(ssl_context=self._tls) as pool:
                answer = pool.request(
                    "GET",
                    self._url,
                    headers=self._headers,
                    timeout=urllib3.Timeout(self._within_s),
                    retries=False,
                    redirect=False,
                    preload_content=False,
                    decode_content=False,
                )
                try:
                    _judge(answer.status)
                    body = self._body(answer, until)
                finally:
                    answer.close()
        except (HTTPError, OSError, UnicodeError) as exc:
            raise PeerError(self._why(exc)) from exc
        return self._understood(body)

    def _body(self, answer: urllib3.BaseHTTPResponse, until: float) -> bytes:
        body = bytearray()
        while piece := answer.read1(PIECE_BYTES):
            body += piece
            if len(body) > self._largest_bytes:
                raise PeerError(TOO_LONG.format(self._largest_bytes))
            if self._steady() > until:
                raise PeerError(TOO_LATE.format(self._within_s))
        return bytes(body)

    def _understood(self, body: bytes) -> Told:
        try:
            told = Told.model_validate_json(body)
        except ValidationError as exc:
            first = exc.errors(include_url=False, include_input=False)[0]
            if first["type"] == "json_invalid":
                raise PeerError(NO_JSON) from exc
            where = ".".join(map(str, first["loc"])) or "all of it"
            raise PeerError(UNREADABLE.format(where, first["msg"], __version__)) from exc
        if told.daemon == self._own_name:
            raise PeerError(OURSELVES)
        if told.daemon != self._name:
            raise PeerError(SOMEONE_ELSE.format(told.daemon))
        return told

    def _why(self, exc: Exception) -> str:
        match exc:
            case NameResolutionError() | UnicodeError() | socket.gaierror():
                return NO_NAME
            case NewConnectionError():  # to urllib3 it is a timeout, too
                return NO_CONNECTION.format(_reason(exc))
            case ConnectTimeoutError() | ReadTimeoutError() | TimeoutError():
                return TOO_LATE.format(self._within_s)
            case SSLError() | ssl.SSLError():
                return UNTRUSTED.format(_reason(exc))
        return BROKE_OFF


def _judge(status: int) -> None:
    if status == HTTPStatus.OK:
        return
    if status in (HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN):
        raise PeerError(REFUSED.format(status), refused=True)
    if 300 <= status < 400:
        raise PeerError(MOVED.format(status))
    raise PeerError(NOT_THERE if status == HTTPStatus.NOT_FOUND else OTHER_STATUS.format(status))


def _reason(exc: BaseException) -> str:
    """What the system says, without the names of objects that urllib3 puts around it."""
    below = exc
    while below.__cause__ is not None or below.__context__ is not None:
        below = below.__cause__ or below.__context__ or below
    if isinstance(below, ssl.SSLCertVerificationError):
        return below.verify_message
    if isinstance(below, OSError) and below.strerror:
        return below.strerror.lower()
    return type(below).__name__
