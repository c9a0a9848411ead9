"""docs/settling.md says what the code does."""

import re
from pathlib import Path

import pytest

from monitor.analysis.settling import Name, Verdict, climate, recovery, regression, trend
from monitor.species.settling import SettlingLimits

PAGE = (Path(__file__).parents[3] / "docs" / "settling.md").read_text(encoding="utf-8")
LIMITS = dict(re.findall(r"^\| `([a-z_]+)` \| ([\d.]+) \|", PAGE, re.MULTILINE))


def test_every_limit_is_told_with_its_default() -> None:
    """No limit is missing, none is told that does not exist, and all defaults are true."""
    assert {key: float(value) for key, value in LIMITS.items()} == SettlingLimits().model_dump()


def test_every_limit_has_its_reason() -> None:
    """The last column is never empty."""
    for key in LIMITS:
        row = next(line for line in PAGE.splitlines() if line.startswith(f"| `{key}` |"))
        assert len(row.strip("|").split("|")[3].strip()) > 3, key


@pytest.mark.parametrize("name", Name)
def test_every_criterion_has_its_heading(name: Name) -> None:
    """A keeper finds each criterion by the name the answer gives it."""
    headings = [line for line in PAGE.splitlines() if line.startswith("### ")]

    assert any(f"`{name}`" in heading for heading in headings)


@pytest.mark.parametrize("verdict", Verdict)
def test_every_verdict_is_explained(verdict: Verdict) -> None:
    """The table of verdicts has a row for each."""
    assert f"| `{verdict}` | " in PAGE


def test_the_figures_of_the_method_are_those_of_the_code() -> None:
    """Grids, windows and thresholds that no setting changes."""
    *first, last = (f"{tau:g}" for tau in trend.TAUS)
    assert f"tau = {', '.join(first)} and {last} days" in PAGE
    assert f"over the last {max(trend.LOOKED_BACK)} days" in PAGE
    assert f"{trend.DESCRIBED:g} times that of the last {min(trend.LOOKED_BACK)} days" in PAGE
    assert "0, 0.1 ... 0.9" in PAGE
    assert regression.PHI.round(9).tolist() == [round(0.1 * n, 9) for n in range(10)]
    assert f"is under {trend.CLEAR_RATIO:g}" in PAGE
    assert f"fewer than {climate.FEWEST_HOURS} known hours" in PAGE
    assert f"less than {recovery.LEAST_RISE_KPA:g} kPa" in PAGE
    assert f"the last {recovery.RECENT_DAYS} days" in PAGE
