"""`dewkeep backup` and `dewkeep restore`."""

from tests.cli.conftest import CommandLine


def test_a_back_up_and_back(cli: CommandLine) -> None:
    """What was set up when it was written is set up again after restoring."""
    copy = cli.folder / "copy.db"
    before = cli.ok("setup", "dump")
    cli.ok("backup", copy)
    cli.ok("token", "new", "--scope", "view")

    restored = cli.ok("restore", copy)

    assert restored.startswith("restored ")
    assert "the old one is now" in restored
    assert cli.ok("setup", "dump") == before
    assert "no tokens yet" in cli.ok("token", "list")


def test_a_back_up_overwrites_nothing(cli: CommandLine) -> None:
    """Twice to the same file is refused."""
    copy = cli.folder / "copy.db"
    cli.ok("backup", copy)

    assert "copy.db" in cli.wrong("backup", copy)


def test_a_back_up_that_is_not_there(cli: CommandLine) -> None:
    """Restoring names the file."""
    assert "none.db" in cli.wrong("restore", cli.folder / "none.db")
