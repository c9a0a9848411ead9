"""docs/judging.md says what the code does."""

import re
from pathlib import Path

import pytest

from monitor.quality import Reason
from monitor.quantities import MEASURED, Quantity
from monitor.setup.judging import JudgeSettings

DOCS = (Path(__file__).parents[2] / "docs" / "judging.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("reason", [reason for reason in Reason if reason is not Reason.OK])
def test_every_reason_stands_with_its_quality(reason: Reason) -> None:
    """The table of reasons has a row for each, with the quality that follows from it."""
    assert f"| `{reason.name}` | {reason.quality} | " in DOCS


@pytest.mark.parametrize("quantity", MEASURED)
def test_limits_and_steps_are_those_of_the_code(quantity: Quantity) -> None:
    """Both tables agree with the table of quantities."""
    trait = MEASURED[quantity]

    assert (
        f"| `{quantity}` | {trait.lowest:g} {trait.unit} | {trait.highest:g} {trait.unit} |" in DOCS
    )
    assert f"| `{quantity}` | {trait.max_step:g} {trait.unit} |" in DOCS


def test_every_setting_is_explained() -> None:
    """Each key of the settings occurs."""
    for key in JudgeSettings.model_fields:
        assert re.search(rf"`{key}\b", DOCS), key
