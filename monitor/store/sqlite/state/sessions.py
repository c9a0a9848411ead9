"""Sessions of browsers that signed in with a token. Nothing is kept of one until it is ended.

What a browser holds reads ``EXPIRY.TOKEN.NONCE.SIGNATURE``: epoch seconds, the token's number, 96
random bits, and HMAC-SHA256 (RFC 2104) over all three with a secret that only this database holds.
The token itself never lies in the browser, and revoking it ends all its sessions.
"""

import hashlib
import hmac
import re
import secrets
import sqlite3
from typing import NamedTuple

from monitor.store.sqlite.state import signing, tokens
from monitor.store.sqlite.state.tokens import Token
from monitor.times import DAY_MS

LASTS_MS = 30 * DAY_MS

_SECRET = "session-secret"  # noqa: S105 - the name it is kept under
_SESSION = re.compile(r"(\d{1,12})\.(\d{1,17})\.([0-9a-f]{24})\.([0-9a-f]{64})", re.ASCII)


class Session(NamedTuple):
    """A browser that is signed in, by which token, until when."""

    token: Token
    nonce: str
    expires_ms: int


def secret(connection: sqlite3.Connection) -> bytes:
    """The secret that sessions are signed with, made the first time; needs a writing connection."""
    return signing.made(connection, _SECRET)


def begin(key: bytes, token: Token, now_ms: int) -> str:
    """A new session, signed in with a token that was verified."""
    expiry_s = (now_ms + LASTS_MS) // 1000
    nonce = secrets.token_hex(12)
    return f"{expiry_s}.{token.id}.{nonce}.{_sign(key, str(expiry_s), str(token.id), nonce)}"


def read(connection: sqlite3.Connection, text: str, now_ms: int) -> Session | None:
    """The session that a text is; None if it is none, is over, or its token was revoked.

    How long it takes tells nothing about the signature.
    """
    parts, key = _SESSION.fullmatch(text), signing.known(connection, _SECRET)
    if parts is None or key is None:
        return None
    expiry_s, number, nonce, signature = parts.groups()
    if not hmac.compare_digest(signature, _sign(key, expiry_s, number, nonce)):
        return None
    expires_ms = int(expiry_s) * 1000
    ended = connection.execute("SELECT 1 FROM spent_link WHERE nonce = ?", (nonce,)).fetchone()
    token = tokens.in_force(connection, int(number))
    if token is None or ended is not None or now_ms >= expires_ms:
        return None
    return Session(token, nonce, expires_ms)


def end(connection: sqlite3.Connection, session: Session) -> None:
    """Sign out; whoever kept a copy of it is signed out, too."""
    connection.execute(
        "INSERT INTO spent_link (nonce, expires_ms) VALUES (?, ?) ON CONFLICT DO NOTHING",
        (session.nonce, session.expires_ms),
    )


def _sign(key: bytes, expiry_s: str, number: str, nonce: str) -> str:
    message = "\n".join(("session", expiry_s, number, nonce))
    return hmac.new(key, message.encode(), hashlib.sha256).hexdigest()
