"""The written part of the house: pages are listed, links lead somewhere, examples are of today."""

import re
import shlex
from itertools import takewhile
from pathlib import Path

import click
import pytest

from monitor.cli import main
from monitor.errors import SettingsError
from monitor.ingest.payload import decoder_for
from monitor.ingest.topics import Template
from monitor.setup.sources import Source
from tests.support.guide import published_in, sources_in

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


def _shown() -> list[tuple[str, list[str]]]:
    """Every `dewkeep ...` of a code block with its words, and the page it stands on."""
    found = []
    for page in PAGES:
        for block in re.findall(r"```(?:sh|console)\n(.*?)```", page.read_text(), re.DOTALL):
            for line in block.replace("\\\n", " ").splitlines():
                at = re.search(r"(?:^|/|\$ |&& |-- )dewkeep (?=[a-z])(?!\w+:)", line)
                if at is not None:
                    words = shlex.split(line[at.end() :], comments=True)
                    found.append((page.name, list(takewhile(lambda w: w not in ENDS, words))))
    return found


ENDS = {"|", ">", ">>", "&&", ";"}


@pytest.mark.parametrize(("page", "words"), _shown(), ids=str)
def test_a_command_that_is_shown_can_be_given(
    page: str, words: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its options exist, take what they are given, and none that is needed is left out."""
    monkeypatch.setenv("DEWKEEP_CONFIG", str(ROOT / "config/dewkeep.toml"))
    if "--config" in words:
        at = words.index("--config")
        words = words[:at] + words[at + 2 :]
    command: click.Command = main
    name = "dewkeep"
    try:
        while isinstance(command, click.Group):
            name, words = words[0], words[1:]
            found = command.get_command(click.Context(command), name)
            assert found is not None, f"{page}: there is no {name}"
            command = found
        command.make_context(name, list(words))
    except SettingsError:
        pass  # a file of the keeper's, which is not here: the words were right
    except click.UsageError as exc:
        pytest.fail(f"{page}: dewkeep {name} {' '.join(words)}: {exc.format_message()}")


def test_messages_that_are_shown_can_be_published() -> None:
    """What a page publishes by hand is read, by its own sources or ours, and holds values."""
    shown = 0
    for page in PAGES:
        sources = (Source(topic="dewkeep/{enclosure}/{probe}"), *sources_in(page.read_text()))
        for topic, payload in published_in(page.read_text()):
            shown += 1
            decode = next(
                decoder_for(source, match.quantity)
                for source in sources
                if (match := Template(source).match(topic))
            )
            decoded = decode(payload.encode(), 1_796_000_000_000)
            assert decoded.numbers, payload
            assert not decoded.rejects, payload
    assert shown


def test_modules_that_are_shown_exist() -> None:
    """`python -m tests.something` names a file."""
    for page in PAGES:
        for module in re.findall(r"python -m (tests(?:\.\w+)+)", page.read_text()):
            path = ROOT / module.replace(".", "/")
            assert path.with_suffix(".py").is_file() or (path / "__main__.py").is_file(), module
