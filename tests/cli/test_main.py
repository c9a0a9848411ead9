"""What all commands share."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click import Command, Context, Group
from click.testing import CliRunner

import monitor
from monitor.cli import main
from tests.cli.conftest import CommandLine

COMMANDS = (
    *("backup", "calibrate", "check", "compatibility", "copy", "demo", "export", "handover"),
    *("import", "misting", "probes", "rehearse", "restore", "serve", "settling", "setup", "token"),
)


def commands(command: Command, *words: str) -> list[tuple[str, ...]]:
    """A command and all below it, as one would type them."""
    found = [words]
    if isinstance(command, Group):
        context = Context(command)
        for name in command.list_commands(context):
            below = command.get_command(context, name)
            assert below is not None
            found += commands(below, *words, name)
    return found


@pytest.mark.parametrize("words", commands(main), ids=" ".join)
def test_every_command_explains_itself(words: tuple[str, ...]) -> None:
    """With a sentence of its own, options that say what they are for, and exit code 0."""
    result = CliRunner().invoke(main, [*words, "--help"])

    assert result.exit_code == 0
    assert result.stdout.startswith("Usage: ")
    assert re.search(r"\n\n  [A-Z`][^\n]+(\n  [^\n]+)*?\.", result.stdout)


def test_all_commands_of_the_program_are_there() -> None:
    """Each loads, and goes by its own name."""
    names = {words for words in commands(main) if len(words) == 1}

    assert names == {(name,) for name in COMMANDS}


def test_help_tells_them_all_and_loads_none() -> None:
    """On a small board the daemon takes seconds to load: who asks what there is does not wait."""
    program = (
        "import sys; from monitor.cli import main; main(['--help'], standalone_mode=False);"
        "print('loaded:', *{'numpy', 'fastapi', 'paho'} & set(sys.modules))"
    )
    told = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    ).stdout

    assert [name for name in COMMANDS if not re.search(rf"^  {name} +[A-Z]", told, re.M)] == []
    assert told.endswith("loaded:\n")


def test_the_version_is_that_of_the_package() -> None:
    """`dewkeep --version`."""
    assert monitor.__version__ in CliRunner().invoke(main, ["--version"]).stdout


@pytest.mark.parametrize("words", [("brew",), ("setup", "brew"), ("--loud",), ("token", "revoke")])
def test_words_that_are_none(words: tuple[str, ...]) -> None:
    """Exit code 2 and how it is used."""
    result = CliRunner().invoke(main, words)

    assert result.exit_code == 2
    assert "Usage: " in result.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("serve",),
        ("check",),
        ("setup", "dump"),
        ("token", "list"),
        ("export", "x", "--from", "2026-01-01", "--out", "x.csv"),
        ("import", "x.csv", "--probe", "a/b"),
    ],
    ids=lambda words: words[0],
)
def test_without_settings_a_command_says_what_to_name(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file it looked for, and the two ways to name another."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DEWKEEP_CONFIG", raising=False)
    result = CliRunner().invoke(main, words)

    assert result.exit_code == 2
    assert result.stderr.startswith("dewkeep.toml: there is no such file; name one with --config")
    assert "DEWKEEP_CONFIG" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_settings_are_found_in_three_ways(
    cli: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By option, by environment, in the working directory."""
    by_option = cli.run("setup", "dump", "--config", cli.config)
    monkeypatch.chdir(cli.folder)
    by_folder = cli.run("setup", "dump")
    monkeypatch.chdir("/")
    monkeypatch.setenv("DEWKEEP_CONFIG", str(cli.config))
    by_environment = cli.run("setup", "dump")

    assert by_option.exit_code == 0
    assert by_option.stdout == by_folder.stdout == by_environment.stdout


def test_a_database_that_cannot_be_opened_is_told(cli: CommandLine) -> None:
    """In a line, with what to check."""
    cli.config.write_text('[store]\npath = "no-such-folder/dewkeep.db"\n')
    says = cli.wrong("token", "list")

    assert "dewkeep.db: cannot be opened for writing" in says
    assert "check that the folder exists" in says
