"""Requests made from the OpenAPI document by schemathesis, which knows it better than we do."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.house import house as open_house

CHECKS = (
    "not_a_server_error",
    "content_type_conformance",
    "response_schema_conformance",
    "response_headers_conformance",
)
WITHIN_S = 600
"""It takes a minute on a machine that does nothing else."""


@pytest.mark.slow
@pytest.mark.timeout(WITHIN_S + 60)
def test_no_request_breaks_the_api(tmp_path: Path) -> None:
    """No server error, and every answer is of the type and the shape that the document says.

    Left out: the stream of events, which never ends, and /readyz, whose 503 is an answer.
    """
    with open_house(tmp_path) as house:
        house.crash()
        done = subprocess.run(
            [
                *(Path(sys.executable).parent / "st", "run", f"{house.http.base_url}/openapi.json"),
                *("--max-examples", "25", "--phases", "examples,coverage,fuzzing", "--seed", "1"),
                *("--checks", ",".join(CHECKS), "--exclude-path-regex", "events|readyz"),
                *("--no-color", "--suppress-health-check", "all"),
            ],
            capture_output=True,
            text=True,
            cwd=tmp_path,
            timeout=WITHIN_S,
        )

    assert done.returncode == 0, done.stdout[-6_000:]
    assert "Test cases:" in done.stdout
