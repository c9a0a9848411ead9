"""Figures that a command measured, put into a page where the page has a place for them."""

from pathlib import Path


def record(page: Path, name: str, text: str) -> None:
    """Replace what stands between ``<!-- name -->`` and ``<!-- end of name -->``."""
    begin, end = f"<!-- {name} -->\n", f"<!-- end of {name} -->"
    before, found, rest = page.read_text().partition(begin)
    _, closed, after = rest.partition(end)
    if not (found and closed):
        raise ValueError(f"{page}: no place marked {begin.strip()} ... {end}")
    page.write_text(f"{before}{begin}{text}{end}{after}")
