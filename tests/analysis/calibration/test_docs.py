"""docs/calibration.md says what the code does."""

import re
from pathlib import Path

import pytest

from monitor.analysis.calibration import certificate, line, rest
from monitor.analysis.calibration.salts import COLDEST, WARMEST, fixed_point
from monitor.setup.calibration import CalibrationSettings, Salt

PAGE = (Path(__file__).parents[3] / "docs" / "calibration.md").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())


@pytest.mark.parametrize("salt", Salt)
def test_every_salt_has_its_row(salt: Salt) -> None:
    """With the values a keeper will meet, to a tenth, and how far they may be off."""
    row = re.search(rf"^\| `{salt}` \| (.*) \|$", PAGE, re.MULTILINE)
    assert row is not None
    *values, limit = (float(each) for each in row[1].split(" | "))

    points = [fixed_point(salt, temperature) for temperature in (15.0, 20.0, 25.0, 30.0)]
    assert values == pytest.approx([point.humidity for point in points], abs=0.0501)
    assert limit == points[0].limit


def test_the_rest_is_described_as_it_is() -> None:
    """Hours, shares and limits are those of the code."""
    defaults = CalibrationSettings()
    hour = rest.PER_HOUR

    assert f"of the last {rest.LEAST_LOOK // hour} to {rest.LONGEST_LOOK // hour} hours" in FLAT
    assert (rest.TAUS[0] / hour, rest.TAUS[-1] / hour) == (0.5, 8.0)
    assert "between half an hour and eight hours" in FLAT
    assert "the last four hours (`steady_within_k`)" in FLAT
    assert 4 * hour == rest.TAKEN
    assert f"{defaults.rest_within_pct:g} %RH (`rest_within_pct`), seen three hours" in FLAT
    assert len(rest.LOOKS_AT) == 3
    assert f"been with the salt for {defaults.at_least_h:g} h" in FLAT
    assert f"varied by no more than {defaults.steady_within_k:g} K" in FLAT


def test_the_certificate_is_described_as_it_is() -> None:
    """Limits of gain, thermometer and temperature."""
    assert f"flat within {certificate.U_TEMPERATURE_K:g} K |" in FLAT
    assert f"flat within {CalibrationSettings().apart_k:g} K (`apart_k`)" in FLAT
    assert f"{100 * line.GAIN_LIMIT:g} % of the distance are added" in FLAT
    assert f"outside {certificate.LEAST_GAIN:g} to {certificate.MOST_GAIN:g} is never" in FLAT
    assert f"outside {COLDEST:g} to {WARMEST:g} °C" in FLAT
