"""Links with which one alarm can be acknowledged once, without signing in.

A ticket reads ``EXPIRY.NONCE.SIGNATURE``: epoch seconds, 96 random bits, and HMAC-SHA256 (RFC 2104)
over both and the alarm's id with a secret that only this database holds. Nothing is kept of a
ticket until it is spent, and of a spent one only until it would have expired.
"""

import hashlib
import hmac
import re
import secrets
import sqlite3
from enum import StrEnum
from typing import NamedTuple

from monitor.store.sqlite.state import signing
from monitor.times import DAY_MS

LASTS_MS = 2 * DAY_MS
"""Longer than a notification is tried for: what arrives last can still be answered."""

_SECRET = "link-secret"  # noqa: S105 - the name it is kept under
_TICKET = re.compile(r"(\d{1,12})\.([0-9a-f]{24})\.([0-9a-f]{64})", re.ASCII)


class Standing(StrEnum):
    """What a genuine ticket is still good for."""

    GOOD = "good"
    SPENT = "spent"
    EXPIRED = "expired"


class Ticket(NamedTuple):
    """A genuine ticket, read."""

    nonce: str
    expires_ms: int


def secret(connection: sqlite3.Connection) -> bytes:
    """The secret that tickets are signed with, made the first time; needs a writing connection."""
    return signing.made(connection, _SECRET)


def known_secret(connection: sqlite3.Connection) -> bytes | None:
    """The secret that tickets are signed with, or None if there never was a ticket."""
    return signing.known(connection, _SECRET)


def issue(key: bytes, alarm_id: str, nonce: str, now_ms: int) -> str:
    """A ticket for an alarm, good from now on; ``nonce`` comes from :func:`new_nonce`."""
    expiry_s = (now_ms + LASTS_MS) // 1000
    return f"{expiry_s}.{nonce}.{_sign(key, alarm_id, str(expiry_s), nonce)}"


def new_nonce() -> str:
    """96 random bits, in hexadecimal."""
    return secrets.token_hex(12)


def read(key: bytes | None, alarm_id: str, text: str) -> Ticket | None:
    """The ticket that a text is, or None if it is none, or one for another alarm.

    How long it takes tells nothing about the signature.
    """
    parts = _TICKET.fullmatch(text)
    if key is None or parts is None:
        return None
    expiry_s, nonce, signature = parts.groups()
    if not hmac.compare_digest(signature, _sign(key, alarm_id, expiry_s, nonce)):
        return None
    return Ticket(nonce, int(expiry_s) * 1000)


def standing(connection: sqlite3.Connection, ticket: Ticket, now_ms: int) -> Standing:
    """What a ticket is still good for."""
    if now_ms >= ticket.expires_ms:
        return Standing.EXPIRED
    spent = connection.execute("SELECT 1 FROM spent_link WHERE nonce = ?", (ticket.nonce,))
    return Standing.GOOD if spent.fetchone() is None else Standing.SPENT


def spend(connection: sqlite3.Connection, ticket: Ticket, now_ms: int) -> bool:
    """Use a ticket up; False if it is no longer good. Forgets those that have expired."""
    connection.execute("DELETE FROM spent_link WHERE expires_ms <= ?", (now_ms,))
    if now_ms >= ticket.expires_ms:
        return False
    return (
        connection.execute(
            "INSERT INTO spent_link (nonce, expires_ms) VALUES (?, ?) ON CONFLICT DO NOTHING",
            ticket,
        ).rowcount
        == 1
    )


def give_back(connection: sqlite3.Connection, ticket: Ticket) -> None:
    """Make a spent ticket good again, because what it was spent on could not be done."""
    connection.execute("DELETE FROM spent_link WHERE nonce = ?", (ticket.nonce,))


def _sign(key: bytes, alarm_id: str, expiry_s: str, nonce: str) -> str:
    message = "\n".join(("acknowledge", alarm_id, expiry_s, nonce))
    return hmac.new(key, message.encode(), hashlib.sha256).hexdigest()
