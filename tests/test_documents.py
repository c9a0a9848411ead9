"""The written part of the house: pages are listed, links lead somewhere, examples are of today."""

import re
from pathlib import Path

import click
import pytest

from monitor.cli import main

ROOT = Path(__file__).parent.parent
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])
LINK = re.compile(r"\[[^\]]*\]\(([^)#\s]*)(#[^)\s]*)?\)")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    """Every relative link names a file of ours, and a heading in it if it says so."""
    for path, anchor in LINK.findall(page.read_text()):
        if path.startswith(("http:", "https:", "mailto:")):
            continue
        target = (page.parent / path).resolve() if path else page
        assert target.exists(), f"{page.name}: {path}"
        if anchor:
            headings = re.findall(r"^#+ (.*)$", target.read_text(), re.MULTILINE)
            slugs = {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in headings}
            assert anchor[1:] in slugs, f"{page.name}: {path}{anchor}"


def test_every_page_is_in_the_table_of_contents() -> None:
    """docs/README.md lists each page."""
    listed = {path for path, _ in LINK.findall((ROOT / "docs/README.md").read_text())}

    assert {page.name for page in ROOT.glob("docs/*.md")} - {"README.md"} == listed


def test_commands_in_the_documents_exist() -> None:
    """Whatever `dewkeep WORD` a code block shows is a command."""
    commands = set(main.list_commands(click.Context(main)))
    shown: set[str] = set()
    for page in PAGES:
        for block in re.findall(r"```(?:sh|console)\n(.*?)```", page.read_text(), re.DOTALL):
            shown |= set(re.findall(r"(?:^|/|\$ )dewkeep ([a-z]+)", block, re.MULTILINE))

    assert shown
    assert shown <= commands


def test_the_top_level_stays_as_agreed() -> None:
    """A newcomer finds the same few folders for ever."""
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    folders = {"monitor", "tests", "config", "deploy", "docs"}
    files = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE"}

    built = {"build", "dist"} | {name for name in visible if name.endswith(".egg-info")}
    assert visible - built == folders | files
