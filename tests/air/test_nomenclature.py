"""The page of names against the code that bears them."""

import inspect
from pathlib import Path

import pytest

from monitor import air
from monitor.quality import Quality
from monitor.quantities import Quantity, unit_of

PAGE = (Path(__file__).parents[2] / "docs" / "nomenclature.md").read_text()
ROWS = [line for line in PAGE.splitlines() if line.startswith("|")]


@pytest.mark.parametrize("quantity", Quantity)
def test_every_quantity_stands_there_with_its_unit(quantity: Quantity) -> None:
    """One row per quantity: its name first, its unit as stored and served."""
    rows = [row for row in ROWS if row.startswith(f"| `{quantity}` |")]

    assert len(rows) == 1
    assert f"| {unit_of(quantity)} |" in rows[0]


@pytest.mark.parametrize(
    "name", [name for name in air.__all__ if inspect.isfunction(getattr(air, name))]
)
def test_every_function_of_the_air_is_explained(name: str) -> None:
    """Each public function is named in a row of the page."""
    assert any(f"`{name}`" in row for row in ROWS)


@pytest.mark.parametrize("quality", Quality)
def test_every_quality_is_explained(quality: Quality) -> None:
    """Each quality a reading can have is named in a row of the page."""
    assert any(f"`{quality}`" in row for row in ROWS)
