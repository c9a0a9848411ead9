"""``dewkeep token``."""

from contextlib import closing

import pytest

from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Token
from tests.cli.conftest import CommandLine


def verified(cli: CommandLine, text: str) -> Token | None:
    """What the API makes of a token."""
    with closing(cli.database()) as database, database.reading() as connection:
        return tokens.verify(connection, text)


@pytest.mark.parametrize("scope", ["view", "operate"])
def test_a_new_token_is_shown_once(cli: CommandLine, scope: str) -> None:
    """Alone on standard output, ready to be kept; the list only knows of it."""
    text = cli.ok("token", "new", "--scope", scope, "--name", "phone").strip()
    token = verified(cli, text)
    listed = cli.ok("token", "list")

    assert token is not None
    assert (token.scope, token.name) == (scope, "phone")
    assert text not in listed
    assert listed.split() == ["1", scope, "phone", "never", "used"]


def test_a_revoked_token_is_useless(cli: CommandLine) -> None:
    """And the list says since when."""
    text = cli.ok("token", "new", "--scope", "view").strip()
    assert cli.ok("token", "revoke", 1) == "token 1 is useless from now on\n"

    assert verified(cli, text) is None
    assert "revoked 20" in cli.ok("token", "list")


def test_without_tokens_the_list_says_how_to_make_one(cli: CommandLine) -> None:
    """The first thing one needs to know."""
    assert "dewkeep token new --scope view" in cli.ok("token", "list")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("new",), "Missing option '--scope'"),
        (("new", "--scope", "all"), "'all' is not one of 'view', 'operate'"),
        (("revoke", "7"), "no token 7"),
        (("revoke", "mine"), "'mine' is not a valid integer"),
    ],
)
def test_wrong_words_are_told(cli: CommandLine, words: tuple[str, ...], says: str) -> None:
    """With what would be right."""
    assert says in cli.wrong("token", *words)
