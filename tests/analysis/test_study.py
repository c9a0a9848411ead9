"""The study of causes, small: floors that a broken rule would fall through.

The floors lie three standard deviations below what the full study measured (docs/causes.md); the
seeds are other ones. Ground truth is the simulated room.
"""

import pytest

from tests.studies.study_causes import Report, markdown, study

pytestmark = pytest.mark.slow

ALARMS = 60


@pytest.fixture(scope="module")
def report() -> Report:
    """Sixty alarms, explained in every way."""
    return study(ALARMS, seed=3)


def test_the_cause_is_named_right(report: Report) -> None:
    """With two probes and one in the room: over all, and where a single thing went wrong."""
    full = report.full

    assert full.alarms == ALARMS
    assert full.right / full.alarms >= 0.84
    assert full.single_right / full.single >= 0.90


def test_no_real_fault_is_called_a_normal_swing(report: Report) -> None:
    """Not with any set of probes, while limits lie outside the usual swing."""
    for name, score in report.setups.items():
        assert score.faults_as_swing == 0, name


def test_fewer_probes_keep_the_truth_in_the_set(report: Report) -> None:
    """The set of what it could be holds the truth, and is smaller than 'anything'."""
    for name, score in report.setups.items():
        assert score.held / score.alarms >= 0.89, name
        assert score.named / score.alarms <= 3.5, name


def test_high_alarms_are_explained_as_well(report: Report) -> None:
    """The mirror image of every rule works too."""
    assert report.high.alarms == ALARMS // 4
    assert report.high.right / report.high.alarms >= 0.8


def test_intervals_of_the_forecast_hold(report: Report) -> None:
    """In quiet operation some four of five 80 % intervals hold the crossing."""
    quiet = report.forecast.quiet

    assert quiet.given >= 50
    assert 0.68 <= quiet.coverage <= 0.92


def test_the_tables_can_be_written(report: Report) -> None:
    """Every table has a line for each row that docs/causes.md shows."""
    text = markdown(report)

    for name in (*report.setups, *report.short, *report.times):
        assert f"| {name} | " in text
