"""Links that acknowledge: who can make one, and what a spent one is good for."""

import hashlib
import hmac

import pytest

from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import links
from monitor.store.sqlite.state.links import LASTS_MS, Standing, Ticket

ALARM = "cork-cube.canopy.humidity.low.1796000000000"
KEY = b"between us"
NOW = 1_796_000_000_000
NONCE = "0123456789abcdef01234567"


def test_a_ticket_is_recognised() -> None:
    """Who shows it gets what it was made for."""
    text = links.issue(KEY, ALARM, NONCE, NOW)

    assert links.read(KEY, ALARM, text) == Ticket(NONCE, NOW + LASTS_MS)


def test_the_signature_is_an_hmac() -> None:
    """HMAC-SHA256 of the standard library, over alarm, expiry and nonce, in one fixed order."""
    expiry = (NOW + LASTS_MS) // 1000
    message = f"acknowledge\n{ALARM}\n{expiry}\n{NONCE}".encode()
    signature = hmac.new(KEY, message, hashlib.sha256).hexdigest()

    assert links.issue(KEY, ALARM, NONCE, NOW) == f"{expiry}.{NONCE}.{signature}"


def _changed(text: str, at: int) -> str:
    other = "0" if text[at] != "0" else "1"
    return text[:at] + other + text[at + 1 :]


def test_a_changed_ticket_is_none() -> None:
    """Any other character, anywhere; a later expiry too."""
    text = links.issue(KEY, ALARM, NONCE, NOW)

    for at in range(len(text)):
        assert links.read(KEY, ALARM, _changed(text, at)) is None


@pytest.mark.parametrize(
    "text",
    ["", ".", "1.2.3", "x" * 1000, f"\uff11.{NONCE}.{'0' * 64}", f"1.{NONCE}.{'é' * 64}"],
)
def test_what_is_no_ticket_is_none(text: str) -> None:
    """Whatever stands in an address."""
    assert links.read(KEY, ALARM, text) is None


def test_a_ticket_is_for_one_alarm_of_one_daemon() -> None:
    """Another alarm, another secret, or none at all."""
    text = links.issue(KEY, ALARM, NONCE, NOW)

    assert links.read(KEY, ALARM + "0", text) is None
    assert links.read(b"other", ALARM, text) is None
    assert links.read(None, ALARM, text) is None


def test_the_secret_is_made_once_and_stays(database: Database) -> None:
    """It is random, long, and the same after a restart."""
    with database.reading() as connection:
        assert links.known_secret(connection) is None
    with database.transaction() as connection:
        secret = links.secret(connection)
    database.close()
    again = Database(database.path)
    with again.transaction() as connection:
        assert links.secret(connection) == secret
    with again.reading() as connection:
        assert links.known_secret(connection) == secret
    again.close()

    assert len(secret) == 32


def test_nonces_differ() -> None:
    """Two links for one alarm are two links."""
    assert len({links.new_nonce() for _ in range(100)}) == 100


def test_a_ticket_is_spent_once(database: Database) -> None:
    """Also over a restart; asking what it is good for spends nothing."""
    ticket = Ticket(NONCE, NOW + 1000)
    with database.transaction() as connection:
        for _ in range(2):
            assert links.standing(connection, ticket, NOW) is Standing.GOOD
        assert links.spend(connection, ticket, NOW)
        assert not links.spend(connection, ticket, NOW)
    database.close()
    again = Database(database.path)
    with again.transaction() as connection:
        assert links.standing(connection, ticket, NOW) is Standing.SPENT
        assert not links.spend(connection, ticket, NOW)
    again.close()


def test_a_ticket_that_was_given_back_is_good_again(database: Database) -> None:
    """What could not be done may be tried again."""
    ticket = Ticket(NONCE, NOW + 1000)
    with database.transaction() as connection:
        links.spend(connection, ticket, NOW)
        links.give_back(connection, ticket)

        assert links.spend(connection, ticket, NOW)


def test_a_ticket_expires(database: Database) -> None:
    """To the millisecond; then what is remembered of spent ones is let go."""
    early, late = Ticket(NONCE, NOW + 1000), Ticket(NONCE[::-1], NOW + 2000)
    with database.transaction() as connection:
        assert links.spend(connection, early, NOW + 999)
        assert links.standing(connection, early, NOW + 1000) is Standing.EXPIRED
        assert links.spend(connection, late, NOW + 1999)
        assert not links.spend(connection, early, NOW + 1999)
        kept = connection.execute("SELECT nonce FROM spent_link").fetchall()

    assert kept == [(late.nonce,)]
