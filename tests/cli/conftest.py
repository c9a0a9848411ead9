"""The command line, over a folder with settings and set-up."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor.cli import main
from monitor.store.sqlite.database import Database
from tests.support.daemon import CORK_CUBE

SETTINGS = '[setup]\nfile = "enclosures.toml"\n'


class CommandLine:
    """Runs commands in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.config = folder / "dewkeep.toml"
        self.config.write_text(SETTINGS)
        self.write("enclosures.toml", CORK_CUBE)

    def write(self, name: str, text: str) -> Path:
        """Put a file there."""
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def run(self, *words: object) -> Result:
        """A command, whatever becomes of it; a traceback fails the test."""
        result = CliRunner().invoke(main, [str(word) for word in words])
        assert result.exception is None or isinstance(result.exception, SystemExit), result
        return result

    def ok(self, *words: object) -> str:
        """What a command over these settings prints; it must end well."""
        result = self.run(*words, "--config", self.config)
        assert result.exit_code == 0, result.output
        return result.stdout

    def wrong(self, *words: object) -> str:
        """What a command says of a wrong input; it must end with 2 and print nothing else."""
        result = self.run(*words, "--config", self.config)
        assert result.exit_code == 2, result.output
        assert result.stdout == ""
        return result.stderr

    def database(self) -> Database:
        """The database the settings name; close it."""
        return Database(self.folder / "dewkeep.db")


@pytest.fixture
def cli(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> CommandLine:
    """A folder with one room and one enclosure, applied."""
    monkeypatch.delenv("DEWKEEP_CONFIG", raising=False)
    line = CommandLine(tmp_path)
    line.ok("setup", "apply", tmp_path / "enclosures.toml")
    return line
