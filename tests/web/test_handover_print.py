"""The hand-over sheet on paper and on a phone, in a real Chromium."""

import re
import subprocess
from pathlib import Path

import pytest

from monitor.web.handover import sheet, standalone
from tests.support.servers import program
from tests.web.conftest import NIGHT_MS, MakeShow, enclosure

pytestmark = pytest.mark.slow

CROWD = (
    *("correlophus-ciliatus", "ficus-pumila", "epipremnum-aureum", "neoregelia"),
    *("trichorhina-tomentosa", "sinella-curviseta"),
)
PAGE_OBJECT = re.compile(rb"/Type\s*/Page\b(?!s)")
A4 = re.compile(rb"/MediaBox\s*\[\s*0 0 59[45][.\d]* 84[12][.\d]*\s*\]")  # ISO 216, in points


def test_a_usual_sheet_is_two_sides_of_a4(make_show: MakeShow, tmp_path: Path) -> None:
    """Half a dozen inhabitants, printed by a browser, take one sheet of paper."""
    furnished = enclosure(inhabitant=[{"species": each} for each in CROWD])
    show = make_show({"enclosure": [furnished]})
    found = sheet(show.database, show.parts.library, "cork-cube", NIGHT_MS, "http://shelf.example")
    page, pdf = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(standalone(found), encoding="utf-8")

    subprocess.run(
        [
            *(program("chromium"), "--headless", "--no-sandbox", "--disable-gpu"),
            *(f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer"),
            *(f"--print-to-pdf={pdf}", page.as_uri()),
        ],
        check=True,
        capture_output=True,
        timeout=90,
    )

    printed = pdf.read_bytes()
    assert 1 <= len(PAGE_OBJECT.findall(printed)) <= 2
    assert A4.search(printed)
