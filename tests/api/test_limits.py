"""What a client may not do to us: long bodies, deep bodies, guesses."""

import json
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from monitor.api.limits import LARGEST_BODY_BYTES, MOST_GUESSES, MOST_REMEMBERED, FewGuesses
from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Scope
from tests.support.house import NOW_MS, House
from tests.support.house import house as open_house

ALARMS = "/api/v1/alarms"
JOURNAL = "/api/v1/enclosures/cork-cube/journal"


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[House]:
    """A house that asks for tokens."""
    with open_house(tmp_path, needs_token=True) as built:
        yield built


def bearer(token: str) -> dict[str, str]:
    """A header."""
    return {"Authorization": f"Bearer {token}"}


def right(house: House) -> dict[str, str]:
    """The header of a fresh token."""
    with house.database.transaction() as connection:
        return bearer(tokens.create(connection, "Ida", Scope.VIEW, NOW_MS))


def guess(house: House, times: int) -> list[int]:
    """Wrong tokens; how each was answered."""
    return [
        house.http.get(ALARMS, headers=bearer(f"dewkeep_1_{n}")).status_code for n in range(times)
    ]


# -- bodies ----------------------------------------------------------------------------------------


def note(text: str) -> bytes:
    """An entry of the journal."""
    return json.dumps({"kind": "note", "note": text}).encode()


def test_a_body_that_is_too_long_is_not_read(http: httpx.Client) -> None:
    """By its own word, before any of it is read."""
    answer = http.post(JOURNAL, content=note("x" * LARGEST_BODY_BYTES))

    assert answer.status_code == 413
    assert answer.json()["detail"].startswith("a body of more than")


def test_a_body_without_a_length_is_counted(http: httpx.Client) -> None:
    """One that comes in pieces is ended where it gets too long."""

    def endless() -> Iterator[bytes]:
        for _ in range(10_000):
            yield b"x" * 65_536

    try:
        status = http.post(JOURNAL, content=endless()).status_code
    except httpx.TransportError:  # closed while it was still being sent
        status = 413
    assert status == 413
    assert http.get(ALARMS).status_code == 200


@pytest.mark.parametrize("length", ["-1", "1e3", "+5", "0x10", "99999999999999999999"])
def test_a_length_that_is_none(http: httpx.Client, length: str) -> None:
    """Refused, whatever reads it first."""
    there = (http.base_url.host, http.base_url.port)
    with socket.create_connection(there, timeout=20) as client:
        head = f"POST {JOURNAL} HTTP/1.1\r\nHost: localhost\r\nContent-Length: {length}\r\n\r\n"
        client.sendall(head.encode() + b"{}")
        answer = client.recv(1000)

    assert answer.startswith((b"HTTP/1.1 400", b"HTTP/1.1 413"))


@pytest.mark.parametrize(
    "body",
    [
        b"[" * 100_000,
        b'{"a":' * 100_000,
        b"[" * 100_000 + b"]" * 100_000,
        b'{"kind":"note","note":' + b'"x",' * 50_000,
        b'{"kind":"note","note":"\\ud800"}',
        b'{"kind":"note","note":"\xff\xfe"}',
        b'{"kind":"inspection","mould_cover":1e999}',
        b'{"kind":"inspection","mould_cover":' + b"9" * 5_000 + b"}",
        b"\x00" * 1_000,
        b"",
    ],
)
def test_bodies_that_are_no_entries(http: httpx.Client, body: bytes) -> None:
    """Deep, long, broken: refused as a mistake of the client, with a problem that is JSON."""
    answer = http.post(JOURNAL, content=body, headers={"Content-Type": "application/json"})

    assert 400 <= answer.status_code < 500
    assert answer.json()["status"] == answer.status_code


# -- guesses ---------------------------------------------------------------------------------------


def test_guessing_ends(guarded: House, caplog: pytest.LogCaptureFixture) -> None:
    """After some wrong tokens the address is told to wait, and the log tells of it once."""
    answers = guess(guarded, MOST_GUESSES + 5)

    assert answers == [401] * MOST_GUESSES + [429] * 5
    assert caplog.text.count("wrong tokens within a minute") == 1
    refused = guarded.http.get(ALARMS, headers=bearer("dewkeep_1_x"))
    assert 0 < int(refused.headers["Retry-After"]) <= 61


def test_who_is_known_comes_in_all_the_same(guarded: House) -> None:
    """A guesser cannot lock out the keeper who shares an address with him."""
    keeper = right(guarded)
    assert guarded.http.get(ALARMS, headers=keeper).status_code == 200
    guess(guarded, MOST_GUESSES + 1)

    assert guarded.http.get(ALARMS, headers=keeper).status_code == 200


def test_open_routes_make_no_token_known(guarded: House) -> None:
    """What asks for no token says nothing about it."""
    wrong = bearer("dewkeep_1_wrong")
    for path in ("/healthz", "/openapi.json", "/nowhere"):
        guarded.http.get(path, headers=wrong)
    guess(guarded, MOST_GUESSES)

    assert guarded.http.get(ALARMS, headers=wrong).status_code == 429


def test_a_revoked_token_is_known_no_more(guarded: House) -> None:
    """It counts as a guess like any other."""
    keeper = right(guarded)
    guarded.http.get(ALARMS, headers=keeper)
    with guarded.database.transaction() as connection:
        tokens.revoke(connection, 1, NOW_MS)
    guess(guarded, MOST_GUESSES)

    assert guarded.http.get(ALARMS, headers=keeper).status_code == 401
    assert guarded.http.get(ALARMS, headers=keeper).status_code == 429


def test_a_minute_later_it_may_be_tried_again() -> None:
    """And what is remembered of addresses stays bounded."""
    now = [0.0]

    async def app(*_: object) -> None:
        """Never asked here."""

    few = FewGuesses(app, "/api", lambda: now[0])
    for n in range(MOST_GUESSES):
        few._learn("10.0.0.1", b"%d" % n, right=False)
    assert few._wait_s("10.0.0.1", b"x") == 60
    assert few._wait_s("10.0.0.2", b"x") == 0
    now[0] = 61.0
    assert few._wait_s("10.0.0.1", b"x") < 0
    few._learn("10.0.0.1", b"x", right=False)
    assert few._wait_s("10.0.0.1", b"x") == 0
    for n in range(3 * MOST_REMEMBERED):
        few._learn(f"address {n}", b"%d" % n, right=n % 2 == 0)

    assert len(few._wrong) <= MOST_REMEMBERED
    assert len(few._right) <= MOST_REMEMBERED
