"""``dewkeep setup``."""

import json

from tests.cli.conftest import CommandLine
from tests.support.daemon import CORK_CUBE


def test_applied_twice_it_changes_nothing(cli: CommandLine) -> None:
    """The fixture applied it once."""
    assert cli.ok("setup", "apply", cli.folder / "enclosures.toml") == "nothing to change\n"


def test_what_is_written_out_may_be_applied(cli: CommandLine) -> None:
    """Here, where it changes nothing, and elsewhere, where it makes the same."""
    dump = cli.ok("setup", "dump")
    path = cli.write("dump.toml", dump)
    again = cli.ok("setup", "apply", path)
    cli.config.write_text('[store]\npath = "other.db"\n')

    assert again == "nothing to change\n"
    assert cli.ok("setup", "apply", path) == "2 changed\n"
    assert cli.ok("setup", "dump") == dump
    assert 'id = "cork-cube"' in dump


def test_what_a_file_does_not_list_stays(cli: CommandLine) -> None:
    """It adds and changes; it takes nothing away."""
    path = cli.write("more.toml", '[[enclosure]]\nid = "drawer"\nname = "Drawer"\n')

    assert cli.ok("setup", "apply", path) == "1 changed\n"
    assert 'id = "cork-cube"' in cli.ok("setup", "dump")


def test_nothing_of_a_wrong_file_is_applied(cli: CommandLine) -> None:
    """Not even what comes before the mistake."""
    before = cli.ok("setup", "dump")
    path = cli.write(
        "wrong.toml",
        CORK_CUBE.replace('"Cork cube"', '"Changed"')
        + '\n[[enclosure.inhabitant]]\nspecies = "draco-invented"\n',
    )
    says = cli.wrong("setup", "apply", path)

    assert f"{path}: enclosure[cork-cube].inhabitant[draco-invented].species: no species" in says
    assert cli.ok("setup", "dump") == before


def test_an_id_of_the_other_kind_is_told(cli: CommandLine) -> None:
    """And nothing is changed."""
    path = cli.write("clash.toml", '[[room]]\nid = "cork-cube"\nname = "Room"\n')

    assert "'cork-cube' is set up as enclosure" in cli.wrong("setup", "apply", path)


def test_a_file_that_is_not_there(cli: CommandLine) -> None:
    """Named with the reason."""
    assert "gone.toml: cannot be read" in cli.wrong("setup", "apply", "gone.toml")


def test_the_history_tells_what_the_command_line_did(cli: CommandLine) -> None:
    """Newest first; one by its number in full; and as JSON."""
    cli.ok("setup", "apply", cli.write("next.toml", CORK_CUBE.replace("[60, 80]", "[60, 85]")))
    did = "range.canopy.day.humidity: 60 to 80 became 60 to 85"

    newest, added, *_ = cli.ok("setup", "history").splitlines()
    number = newest.split()[0]
    (listed,) = json.loads(cli.ok("setup", "history", "--json", "--limit", 1))

    assert f"command line: cork-cube  {did}" in newest
    assert added.endswith("command line: cork-cube  added cork-cube")
    assert did in cli.ok("setup", "history", number)
    assert listed["number"] == int(number)
    assert json.loads(cli.ok("setup", "history", number, "--json"))["differences"][0]["says"] == did
    assert cli.ok("setup", "history", "--place", "nowhere") == ""
    assert "there is no change 999" in cli.wrong("setup", "history", 999)
