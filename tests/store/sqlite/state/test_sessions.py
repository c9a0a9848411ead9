"""Sessions: signed, bound to a token, over when they should be."""

from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import sessions, tokens
from monitor.store.sqlite.state.tokens import Scope

NOW_MS = 1_795_600_000_000


def begun(database: Database) -> str:
    """A session of a new token."""
    with database.transaction() as connection:
        text = tokens.create(connection, "phone", Scope.VIEW, NOW_MS)
        token = tokens.verify(connection, text)
        assert token is not None
        return sessions.begin(sessions.secret(connection), token, NOW_MS)


def test_a_session_is_of_its_token(database: Database) -> None:
    """What is read back names the token, and lasts thirty days to the second."""
    text = begun(database)
    with database.reading() as connection:
        session = sessions.read(connection, text, NOW_MS)
        assert session is not None
        assert (session.token.name, session.token.scope) == ("phone", Scope.VIEW)
        assert sessions.read(connection, text, NOW_MS + sessions.LASTS_MS - 1) == session
        assert sessions.read(connection, text, NOW_MS + sessions.LASTS_MS) is None


def test_not_a_letter_can_be_changed(database: Database) -> None:
    """Another expiry, token, nonce or signature makes it nobody's."""
    text = begun(database)
    begun(database)
    expiry, number, nonce, signature = text.split(".")
    with database.reading() as connection:
        for forged in (
            (str(int(expiry) + 1), number, nonce, signature),
            (expiry, "2", nonce, signature),
            (expiry, number, "0" * 24, signature),
            (expiry, number, nonce, "0" * 64),
        ):
            assert sessions.read(connection, ".".join(forged), NOW_MS) is None


def test_ended_is_ended(database: Database) -> None:
    """Ending it twice does no harm; another session of the same house goes on."""
    text, other = begun(database), begun(database)
    with database.transaction() as connection:
        session = sessions.read(connection, text, NOW_MS)
        assert session is not None
        sessions.end(connection, session)
        sessions.end(connection, session)
        assert sessions.read(connection, text, NOW_MS) is None
        assert sessions.read(connection, other, NOW_MS) is not None
