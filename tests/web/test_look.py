"""What can be checked of the looks: colours told apart without hue, words that the docs explain."""

import re
from pathlib import Path

import pytest

from monitor.web import words
from monitor.web.rendering import ASSETS, tight

LIGHT, DARK = (
    dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", ASSETS[name].content.decode()))
    for name in ("page.css", "dark.css")
)
PAGE = (Path(__file__).parents[2] / "docs" / "page.md").read_text(encoding="utf-8")


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance)."""
    channels = (int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5))
    linear = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return sum(share * c for share, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2)."""
    low, high = sorted(map(luminance, (one, other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_moss_and_ochre_differ_in_lightness(theme: dict[str, str]) -> None:
    """In grey alone, out of range differs from the marks and from the bands of what is in it."""
    assert contrast(theme["moss"], theme["ochre-fill"]) > 1.6
    assert contrast(theme["moss-pale"], theme["ochre-fill"]) > 1.6


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ink", ["ink", "quiet", "ochre"])
def test_text_can_be_read(theme: dict[str, str], ink: str) -> None:
    """Text has the contrast of WCAG 2.2 AA (1.4.3), 4.5 to 1, and the button's too."""
    assert contrast(theme[ink], theme["paper"]) >= 4.5
    assert contrast(theme["button-ink"], theme["button"]) >= 4.5


def test_numbers_keep_their_units() -> None:
    """No line breaks between a number and its unit, nor are other words glued."""
    held = "\N{NO-BREAK SPACE}"
    assert tight("46 % at 22 °C for 6 s") == f"46{held}% at 22{held}°C for 6{held}s"
    assert tight("3 sides, 5 hours") == "3 sides, 5 hours"


@pytest.mark.parametrize(
    "title",
    [
        words.IN_RANGE_TITLE,
        words.SLIPPED_TITLE,
        words.QUIET_TITLE,
        words.NOT_JUDGED_TITLE,
        words.NO_PROBE_TITLE,
        words.UNHEARD_TITLE,
    ],
)
def test_docs_explain_every_title(title: str) -> None:
    """docs/page.md knows each title that an enclosure can have."""
    assert title in PAGE
