"""API tokens."""

import pytest

from monitor.errors import NotFound
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Scope, Token


def create(database: Database, name: str = "phone", scope: Scope = Scope.VIEW) -> str:
    """A new token."""
    with database.transaction() as connection:
        return tokens.create(connection, name, scope, now_ms=1000)


def verify(database: Database, text: str) -> Token | None:
    """What a client with this text is let in as."""
    with database.reading() as connection:
        return tokens.verify(connection, text)


def test_a_token_is_recognised(database: Database) -> None:
    """Who shows the token gets its name and scope, and no one else's."""
    phone = create(database)
    desk = create(database, "desk", Scope.OPERATE)

    assert verify(database, phone) == Token(1, "phone", Scope.VIEW, 1000, None, None)
    assert verify(database, desk) == Token(2, "desk", Scope.OPERATE, 1000, None, None)


def test_the_file_holds_no_token(database: Database) -> None:
    """Who reads the database or a back-up cannot log in with what is there."""
    secret = create(database).split("_", 2)[2]
    with database.transaction() as connection:
        connection.execute("SELECT 1")
    content = database.path.read_bytes() + database.path.with_name("dewkeep.db-wal").read_bytes()

    assert b"phone" in content
    assert secret.encode() not in content


@pytest.mark.parametrize(
    "text",
    [
        "",
        "dewkeep",
        "dewkeep_1_",
        "dewkeep_1",
        "dewkeep__x",
        "dewkeep_²_x",
        "dewkeep_99999999999999999999_x",
        "dewkeep_-1_x",
        "dewkeep_1_wrong",
        "dewkeep_1_\u00fc",
        "dewkeep_2_REST",
        "moss_1_REST",
        "dewkeep_1_RESTx",
    ],
)
def test_anything_else_is_refused(database: Database, text: str) -> None:
    """Malformed, unknown, another's number, nearly right: all the same."""
    secret = create(database).split("_", 2)[2]

    assert verify(database, text.replace("REST", secret)) is None


def test_a_revoked_token_is_refused_at_once_and_for_good(database: Database) -> None:
    """Its row stays, with the time it was first revoked, and its number is not given again."""
    token = create(database)
    with database.transaction() as connection:
        tokens.revoke(connection, 1, now_ms=2000)
        tokens.revoke(connection, 1, now_ms=3000)

    assert verify(database, token) is None
    create(database, "tablet")
    with database.reading() as connection:
        assert [(t.id, t.name, t.revoked_ms) for t in tokens.everyone(connection)] == [
            (1, "phone", 2000),
            (2, "tablet", None),
        ]


def test_revoking_an_unknown_token_says_so(database: Database) -> None:
    """A typing mistake must not look like a revoked token."""
    with pytest.raises(NotFound, match="no token 7"), database.transaction() as connection:
        tokens.revoke(connection, 7, now_ms=0)


def test_use_is_noted(database: Database) -> None:
    """A keeper can see which tokens are still in use."""
    token = create(database)
    with database.transaction() as connection:
        tokens.used(connection, 1, now_ms=5000)

    assert verify(database, token) == Token(1, "phone", Scope.VIEW, 1000, 5000, None)


def test_operate_includes_view() -> None:
    """An operator may look; a viewer may not operate."""
    assert Scope.OPERATE.allows(Scope.VIEW)
    assert Scope.OPERATE.allows(Scope.OPERATE)
    assert Scope.VIEW.allows(Scope.VIEW)
    assert not Scope.VIEW.allows(Scope.OPERATE)
