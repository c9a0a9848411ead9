"""Every error in one shape."""

import asyncio
import logging

import httpx
import pytest

from monitor.api.app import create_app
from monitor.errors import (
    Conflict,
    DewkeepError,
    NotFound,
    Problem,
    SettingsError,
    StoreError,
    StoreUnavailable,
)
from tests.support.house import House


def answer_to(house: House, error: Exception) -> httpx.Response:
    """What a client is told when an address fails."""
    app = create_app(house.parts)

    @app.get("/fail")
    def fail() -> None:
        raise error

    async def ask() -> httpx.Response:
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            return await client.get("/fail")

    answer = asyncio.run(ask())
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["status"] == answer.status_code
    return answer


@pytest.mark.parametrize(
    ("error", "status"), [(NotFound("no alarm 'x'"), 404), (Conflict("it is over"), 409)]
)
def test_errors_of_the_asker_are_told_in_their_own_words(
    house: House, error: DewkeepError, status: int
) -> None:
    """With the status that fits."""
    answer = answer_to(house, error)

    assert answer.status_code == status
    assert answer.json()["detail"] == str(error)


@pytest.mark.parametrize(
    ("error", "status"),
    [(StoreUnavailable("/var/x.db is full"), 503), (StoreError("/var/x.db is damaged"), 500)],
)
def test_failures_of_the_store_are_told_in_the_log(
    house: House, error: DewkeepError, status: int, caplog: pytest.LogCaptureFixture
) -> None:
    """A stranger learns no path; what may pass says when to ask again."""
    answer = answer_to(house, error)

    assert answer.status_code == status
    assert "x.db" not in answer.text
    assert str(error) in caplog.text
    assert ("Retry-After" in answer.headers) is isinstance(error, StoreUnavailable)


def test_several_mistakes_are_told_one_by_one(house: House) -> None:
    """As in a settings file."""
    wrong = SettingsError([Problem("body", "a", "is missing"), Problem("body", "b", "is unknown")])
    answer = answer_to(house, wrong)

    assert answer.status_code == 422
    assert answer.json()["errors"] == [
        {"field": "a", "says": "is missing"},
        {"field": "b", "says": "is unknown"},
    ]


def test_a_mistake_of_ours_tells_nothing_of_the_inside(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    """The answer is plain; the log has where it happened."""
    with caplog.at_level(logging.ERROR):
        answer = answer_to(house, KeyError("secret_table"))

    assert answer.status_code == 500
    assert answer.json()["detail"] == "dewkeep made a mistake; the log tells more"
    assert "secret_table" not in answer.text
    assert "secret_table" in caplog.text
    assert "Traceback" in caplog.text
