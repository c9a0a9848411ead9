"""API tokens: who may look and who may operate. Only hashes are kept.

A token reads ``dewkeep_NUMBER_SECRET``; the secret has 256 random bits, so a plain SHA-256 is as
good as a slow hash would be.
"""

import hashlib
import hmac
import secrets
import sqlite3
from enum import StrEnum
from typing import NamedTuple

from monitor.errors import NotFound

_PREFIX = "dewkeep"


class Scope(StrEnum):
    """What a token allows: to look, or also to change things."""

    VIEW = "view"
    OPERATE = "operate"

    def allows(self, needed: "Scope") -> bool:
        """Whether a token of this scope may do what needs the other."""
        return self is Scope.OPERATE or needed is Scope.VIEW


class Token(NamedTuple):
    """What is known of a token; the token itself is not."""

    id: int
    name: str
    scope: Scope
    created_ms: int
    last_used_ms: int | None
    revoked_ms: int | None


def create(connection: sqlite3.Connection, name: str, scope: Scope, now_ms: int) -> str:
    """Make a token; it is returned this once and cannot be had again."""
    secret = secrets.token_urlsafe(32)
    (token_id,) = connection.execute(
        "INSERT INTO token (name, scope, hash, created_ms) VALUES (?, ?, ?, ?) RETURNING id",
        (name, scope, _hash(secret), now_ms),
    ).fetchone()
    return f"{_PREFIX}_{token_id}_{secret}"


def verify(connection: sqlite3.Connection, text: str) -> Token | None:
    """The token this text is, or None if it is none, or a revoked one.

    How long it takes tells nothing about the secret.
    """
    prefix, _, rest = text.partition("_")
    number, _, secret = rest.partition("_")
    if prefix != _PREFIX or not (number.isascii() and number.isdigit() and len(number) < 18):
        return None
    row = connection.execute(
        """
        SELECT hash, id, name, scope, created_ms, last_used_ms, revoked_ms
        FROM token WHERE id = ? AND revoked_ms IS NULL
        """,
        (int(number),),
    ).fetchone()
    if row is None or not hmac.compare_digest(row[0], _hash(secret)):
        return None
    return _token(*row[1:])


def in_force(connection: sqlite3.Connection, token_id: int) -> Token | None:
    """The token with this number, or None if there is none, or it was revoked."""
    row = connection.execute(
        """
        SELECT id, name, scope, created_ms, last_used_ms, revoked_ms
        FROM token WHERE id = ? AND revoked_ms IS NULL
        """,
        (token_id,),
    ).fetchone()
    return None if row is None else _token(*row)


def used(connection: sqlite3.Connection, token_id: int, now_ms: int) -> None:
    """Note that a token was used. Once a minute is enough: each note is a write to disk."""
    connection.execute("UPDATE token SET last_used_ms = ? WHERE id = ?", (now_ms, token_id))


def revoke(connection: sqlite3.Connection, token_id: int, now_ms: int) -> None:
    """Make a token useless; doing so twice keeps the first time.

    Raises:
        NotFound: there is no such token.
    """
    done = connection.execute(
        "UPDATE token SET revoked_ms = ifnull(revoked_ms, ?) WHERE id = ?", (now_ms, token_id)
    )
    if done.rowcount == 0:
        raise NotFound(f"no token {token_id}")


def everyone(connection: sqlite3.Connection) -> list[Token]:
    """All tokens, revoked ones too, in the order they were made."""
    rows = connection.execute(
        "SELECT id, name, scope, created_ms, last_used_ms, revoked_ms FROM token ORDER BY id"
    )
    return [_token(*row) for row in rows]


def _hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()


def _token(
    token_id: int,
    name: str,
    scope: str,
    created_ms: int,
    last_used_ms: int | None,
    revoked_ms: int | None,
) -> Token:
    return Token(token_id, name, Scope(scope), created_ms, last_used_ms, revoked_ms)
