"""`dewkeep rehearse`."""

import json

from tests.cli.conftest import CommandLine
from tests.support.daemon import CORK_CUBE


def test_a_changed_set_up_is_rehearsed_on_an_old_log(cli: CommandLine) -> None:
    """Twice as told and as the API's JSON: with the stricter range there would have been a call."""
    rows = "".join(f"2026-11-01T{n // 60:02}:{n % 60:02}:00Z,23,65\n" for n in range(600))
    old = cli.write("old.csv", "time,temperature,humidity\n" + rows)
    cli.ok("import", old, "--probe", "cork-cube/canopy")
    strict = cli.write("strict.toml", CORK_CUBE.replace("[60, 95]", "[70, 95]"))
    span = ["--from", "2026-11-01T00:00:00Z", "--to", "2026-11-01T09:30:00Z"]

    told = cli.ok("rehearse", "cork-cube", *span, "--setup", strict)
    as_json = json.loads(cli.ok("rehearse", "cork-cube", *span, "--json"))

    lines = told.splitlines()
    assert lines[0] == (
        "Cork cube, 2026-11-01 00:00 to 2026-11-01 09:30 (Europe/Lisbon), 1,140 readings"
    )
    assert "With the change there would have been 1 call in 1 night" in told
    assert "calls                        0               0               1" in lines
    assert any(
        line.startswith("+ 2026-11-01 00:20  warning   Humidity in the canopy") for line in lines
    )
    assert as_json["unchanged"]["calls"] == 0
    assert "changed" not in as_json
    assert "nothing to change" in cli.ok("setup", "apply", cli.folder / "enclosures.toml")


def test_a_rehearsal_of_nothing(cli: CommandLine) -> None:
    """Nothing recorded is told in a sentence; a stranger, a room and a wrong span are refused."""
    other = cli.write("other.toml", '[[enclosure]]\nid = "jar"\nname = "Jar"\n')
    since = ["--from", "2026-11-01T00:00:00Z"]

    empty = cli.ok("rehearse", "cork-cube", *since)
    stranger = cli.wrong("rehearse", "cork-cube", *since, "--setup", other)

    assert "Nothing was recorded in this span" in empty
    assert "calls" not in empty
    assert "other.toml: enclosure: there is none with id 'cork-cube'; known: jar" in stranger
    assert "nowhere" in cli.wrong("rehearse", "nowhere", *since)
    assert "is a room" in cli.wrong("rehearse", "back-room", *since)
    assert "must lie before" in cli.wrong("rehearse", "cork-cube", *since, "--to", "2026-10-01")
