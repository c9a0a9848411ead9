"""The document that describes the API."""

from typing import Any

import httpx
import pytest
from openapi_spec_validator import validate


@pytest.fixture
def document(http: httpx.Client) -> dict[str, Any]:
    """As a client gets it."""
    return dict(http.get("/openapi.json").json())


def operations(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Every way of every path."""
    return [operation for path in document["paths"].values() for operation in path.values()]


def test_it_is_valid(document: dict[str, Any]) -> None:
    """By the OpenAPI project's own schema, as openapi-spec-validator holds it."""
    validate(document)


def test_every_operation_is_described(document: dict[str, Any]) -> None:
    """With a summary, a sentence, a name of its own, and the shape of its errors."""
    names = [operation["operationId"] for operation in operations(document)]

    assert len(names) == len(set(names)) > 20
    for operation in operations(document):
        assert operation["summary"]
        assert operation["description"].rstrip().endswith(".")
        assert "application/problem+json" in operation["responses"]["default"]["content"]
        assert "422" not in operation["responses"]


def test_all_that_may_be_refused_names_its_token(document: dict[str, Any]) -> None:
    """Only health is open to everyone."""
    free = [o["operationId"] for o in operations(document) if "security" not in o]

    assert sorted(free) == ["get_liveness", "get_readiness"]


def test_no_page_of_someone_else_is_served(http: httpx.Client) -> None:
    """The usual page of documentation would load scripts from elsewhere."""
    for path in ("/docs", "/redoc"):
        assert http.get(path).status_code == 404
