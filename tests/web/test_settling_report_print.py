"""The settling report on paper, in a real Chromium."""

import re
import subprocess
from pathlib import Path

import pytest

from monitor.web.settling_report import page
from tests.support.servers import program
from tests.web.test_settling_report import LIBRARY, assessed

pytestmark = pytest.mark.slow

PAGE_OBJECT = re.compile(rb"/Type\s*/Page\b(?!s)")
A4 = re.compile(rb"/MediaBox\s*\[\s*0 0 59[45][.\d]* 84[12][.\d]*\s*\]")  # ISO 216, in points


def test_a_report_on_three_zones_is_three_or_four_sheets_of_a4(tmp_path: Path) -> None:
    """With every plot; and it is a file that needs nothing beside it."""
    html, pdf = tmp_path / "report.html", tmp_path / "report.pdf"
    html.write_text(page(assessed(45), LIBRARY, alone=True), encoding="utf-8")

    subprocess.run(
        [
            *(program("chromium"), "--headless", "--no-sandbox", "--disable-gpu"),
            *(f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer"),
            *(f"--print-to-pdf={pdf}", html.as_uri()),
        ],
        check=True,
        capture_output=True,
        timeout=90,
    )

    printed = pdf.read_bytes()
    assert 4 <= len(PAGE_OBJECT.findall(printed)) <= 8
    assert A4.search(printed)
