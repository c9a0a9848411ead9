"""Who may do what: tokens, scopes, and the guard of an API without tokens."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Scope
from tests.support.house import NOW_MS, House
from tests.support.house import house as open_house

ALARMS = "/api/v1/alarms"
JOURNAL = "/api/v1/enclosures/cork-cube/journal"
FED = {"kind": "fed", "at": "2026-11-24T18:00:00Z"}


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[House]:
    """A house that asks for tokens."""
    with open_house(tmp_path, needs_token=True) as built:
        yield built


def bearer(house: House, scope: Scope) -> dict[str, str]:
    """A fresh token's header."""
    with house.database.transaction() as connection:
        return {"Authorization": f"Bearer {tokens.create(connection, 'Ida', scope, NOW_MS)}"}


def test_without_a_token_nothing_is_told(guarded: House) -> None:
    """No token, or none of ours: 401 with how to get one, and not a word about the room."""
    for headers in ({}, {"Authorization": "Bearer dewkeep_1_guess"}):
        answer = guarded.http.get(ALARMS, headers=headers)

        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")
        assert "cork" not in answer.text


def test_scopes(guarded: House) -> None:
    """Who may view cannot write; who may operate can, and is named."""
    view, operate = bearer(guarded, Scope.VIEW), bearer(guarded, Scope.OPERATE)

    assert guarded.http.get(ALARMS, headers=view).status_code == 200
    assert guarded.http.post(JOURNAL, json=FED, headers=view).status_code == 403
    assert guarded.http.post(JOURNAL, json=FED, headers=operate).status_code == 201
    alarm = guarded.loop  # the loop acts for whoever the token names
    assert alarm is not None


def test_a_revoked_token_is_worth_nothing(guarded: House) -> None:
    """Revoking takes effect with the next request."""
    view = bearer(guarded, Scope.VIEW)
    assert guarded.http.get(ALARMS, headers=view).status_code == 200
    with guarded.database.transaction() as connection:
        tokens.revoke(connection, 1, NOW_MS)

    assert guarded.http.get(ALARMS, headers=view).status_code == 401


def test_use_is_noted(guarded: House) -> None:
    """A keeper can see which token was used last, and when."""
    guarded.http.get(ALARMS, headers=bearer(guarded, Scope.VIEW))

    with guarded.database.reading() as connection:
        (token,) = tokens.everyone(connection)
    assert token.last_used_ms == NOW_MS


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"Host": "localhost:8420"}, 200),
        ({"Host": "[::1]:8420"}, 200),
        ({"Origin": "http://localhost:8420"}, 200),
        ({"Host": "rebound.example"}, 421),
        ({"Origin": "https://evil.example"}, 403),
        ({"Origin": "null"}, 403),
    ],
)
def test_other_peoples_pages_are_kept_out(
    house: House, headers: dict[str, str], status: int
) -> None:
    """Open to this machine means its own programs and pages, under its own names."""
    assert house.http.get(ALARMS, headers=headers).status_code == status
