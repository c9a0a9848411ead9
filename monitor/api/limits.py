"""Limits on what a client may do to us: how long a body is, how often a token is guessed."""

import hashlib
import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import TypeVar

from starlette import types as asgi
from starlette.datastructures import Headers

from monitor.api.problems import problem

log = logging.getLogger(__name__)

K = TypeVar("K")
V = TypeVar("V")

LARGEST_BODY_BYTES = 1_048_576
"""A set-up of a thousand enclosures is smaller, one enclosure much so."""
READ_IN_PIECES = "/photos"
"""Routes with this in their path look after the length of what they read themselves."""
MOST_GUESSES = 20
GUESSES_WITHIN_S = 60.0
MOST_REMEMBERED = 1_024


class SmallBodies:
    """Ends a request whose body is longer than any that we ask for, before it fills the memory."""

    def __init__(self, app: asgi.ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: asgi.Scope, receive: asgi.Receive, send: asgi.Send) -> None:
        """Count what comes."""
        if scope["type"] != "http" or READ_IN_PIECES in scope["path"]:
            await self._app(scope, receive, send)
            return
        length = Headers(scope=scope).get("content-length", "0")
        if not length.isdigit() or int(length) > LARGEST_BODY_BYTES:
            await _too_large(scope, receive, send)
            return
        taken = 0
        answered = False

        async def receive_some() -> asgi.Message:
            nonlocal taken, answered
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LARGEST_BODY_BYTES:
                if not answered:
                    answered = True
                    await _too_large(scope, receive, send)
                return {"type": "http.disconnect"}
            return message

        async def send_unless_answered(message: asgi.Message) -> None:
            if not answered:
                await send(message)

        await self._app(scope, receive_some, send_unless_answered)


async def _too_large(scope: asgi.Scope, receive: asgi.Receive, send: asgi.Send) -> None:
    says = f"a body of more than {LARGEST_BODY_BYTES} bytes is not taken"
    await problem(413, says, {"Connection": "close"})(scope, receive, send)


class FewGuesses:
    """Refuses further tokens from an address that sent wrong ones, for the rest of a minute.

    A token has 256 random bits; this keeps guessing from costing us anything, and tells of it. A
    token that was right before passes all the same: behind a proxy all clients share an address.
    ``asking`` is what all routes have in front that ask for a token.
    """

    def __init__(
        self, app: asgi.ASGIApp, asking: str, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._app = app
        self._asking = asking
        self._clock = clock
        self._lock = threading.Lock()
        self._right: OrderedDict[bytes, None] = OrderedDict()
        self._wrong: OrderedDict[str, tuple[float, int]] = OrderedDict()

    async def __call__(self, scope: asgi.Scope, receive: asgi.Receive, send: asgi.Send) -> None:
        """Look at the token, and at how it was answered."""
        given = Headers(scope=scope).get("authorization") if scope["type"] == "http" else None
        if given is None:
            await self._app(scope, receive, send)
            return
        client: tuple[str, int] | None = scope.get("client")
        address = client[0] if client else ""
        token = hashlib.sha256(given.encode()).digest()
        wait_s = self._wait_s(address, token)
        if wait_s > 0:
            says = "too many wrong tokens came from this address; wait a minute"
            refusal = problem(429, says, {"Retry-After": str(round(wait_s) + 1)})
            await refusal(scope, receive, send)
            return

        async def send_and_learn(message: asgi.Message) -> None:
            if message["type"] == "http.response.start":
                status = message["status"]
                # Routes outside ask for no token, and so tell nothing about it.
                if status == 401 or (status < 300 and scope["path"].startswith(self._asking)):
                    self._learn(address, token, right=status != 401)
            await send(message)

        await self._app(scope, receive, send_and_learn)

    def _wait_s(self, address: str, token: bytes) -> float:
        with self._lock:
            since, count = self._wrong.get(address, (0.0, 0))
            if token in self._right or count < MOST_GUESSES:
                return 0.0
            return since + GUESSES_WITHIN_S - self._clock()

    def _learn(self, address: str, token: bytes, *, right: bool) -> None:
        now = self._clock()
        with self._lock:
            if right:
                _remember(self._right, token, None)
                return
            self._right.pop(token, None)
            since, count = self._wrong.get(address, (now, 0))
            if now - since >= GUESSES_WITHIN_S:
                since, count = now, 0
            _remember(self._wrong, address, (since, count + 1))
        if count + 1 == MOST_GUESSES:
            log.warning("%s sent %d wrong tokens within a minute", address, MOST_GUESSES)


def _remember(known: OrderedDict[K, V], key: K, value: V) -> None:
    known[key] = value
    known.move_to_end(key)
    if len(known) > MOST_REMEMBERED:
        known.popitem(last=False)
