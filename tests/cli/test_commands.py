"""The command line: what each command does, and what it says to a mistake."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor.cli import main
from tests.support.daemon import CORK_CUBE

COMMANDS = (
    *("backup", "check", "demo", "export", "import", "misting", "rehearse", "restore", "serve"),
    *("settling", "setup", "token"),
)
LOG = "time,temperature,humidity\n" + "".join(
    f"2026-11-01T{hour:02}:00:00Z,{20 + hour / 10},{60 + hour}\n" for hour in range(24)
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with settings and a set-up, which is the working directory."""
    (tmp_path / "dewkeep.toml").write_text('[setup]\nfile = "enclosures.toml"\n')
    (tmp_path / "enclosures.toml").write_text(CORK_CUBE)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DEWKEEP_CONFIG", raising=False)
    return tmp_path


def run(*words: str) -> Result:
    """A command's result; a crash fails the test."""
    result = CliRunner().invoke(main, list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command: str) -> None:
    """Help comes without settings, and the list of commands names each."""
    assert run(command, "--help").exit_code == 0
    assert f"\n  {command}" in run("--help").output


@pytest.mark.usefixtures("folder")
def test_all_is_well() -> None:
    """A check counts what it found."""
    result = run("check")

    assert result.exit_code == 0
    assert result.output == "in order: 1 enclosures, 1 rooms, 2 probes\n"


def test_what_is_wrong_is_told_by_file_and_key(folder: Path) -> None:
    """Exit code 2 and one line for each mistake."""
    (folder / "enclosures.toml").write_text(CORK_CUBE.replace("[60, 80]", "[80, 60]"))

    result = run("check")

    assert result.exit_code == 2
    assert "enclosures.toml: enclosure[cork-cube].range.canopy.day.humidity" in result.output


def test_without_settings_it_says_how(folder: Path) -> None:
    """A missing file is named, with where an example is."""
    (folder / "dewkeep.toml").unlink()

    result = run("check")

    assert result.exit_code == 2
    assert "dewkeep.toml: there is no such file" in result.output


def test_a_set_up_goes_in_and_comes_out(folder: Path) -> None:
    """Applying twice changes nothing; what is dumped can be applied again."""
    first, second = (
        run("setup", "apply", "enclosures.toml"),
        run("setup", "apply", "enclosures.toml"),
    )
    (folder / "again.toml").write_text(run("setup", "dump").output)

    assert first.output == "2 changed\n"
    assert second.output == "nothing to change\n"
    assert run("setup", "apply", "again.toml").output == "nothing to change\n"


def test_a_set_up_with_a_mistake_changes_nothing(folder: Path) -> None:
    """All or nothing."""
    (folder / "bad.toml").write_text(CORK_CUBE.replace('zone = "canopy"', 'zone = "attic"'))

    assert run("setup", "apply", "bad.toml").exit_code == 2
    assert run("setup", "dump").output.strip() == ""


@pytest.mark.usefixtures("folder")
def test_tokens() -> None:
    """Made once, listed without the secret, revoked by number."""
    token = run("token", "new", "--scope", "view", "--name", "phone").output.strip()
    listed = run("token", "list").output
    revoked = run("token", "revoke", "1")

    assert token.startswith("dewkeep_1_")
    assert "phone" in listed
    assert token not in listed
    assert revoked.exit_code == 0
    assert "revoked" in run("token", "list").output
    assert run("token", "revoke", "7").exit_code == 2
    assert run("token", "new", "--scope", "all").exit_code == 2


@pytest.mark.usefixtures("folder")
def test_a_back_up_and_back() -> None:
    """What was set up when it was written is set up again after restoring."""
    run("setup", "apply", "enclosures.toml")
    before = run("setup", "dump").output
    assert run("backup", "copy.db").exit_code == 0
    assert run("backup", "copy.db").exit_code == 2
    run("token", "new", "--scope", "view")

    restored = run("restore", "copy.db")

    assert restored.output.startswith("restored ")
    assert "the old one is now" in restored.output
    assert run("setup", "dump").output == before
    assert "no tokens yet" in run("token", "list").output
    assert run("restore", "none.db").exit_code == 2


def test_an_old_log_goes_in_once_and_comes_out(folder: Path) -> None:
    """Imported twice, exported once: every reading is there once, to the last digit."""
    run("setup", "apply", "enclosures.toml")
    (folder / "old.csv").write_text(LOG)

    first = run("import", "old.csv", "--probe", "cork-cube/canopy")
    run("import", "old.csv", "--probe", "cork-cube/canopy")
    span = ["--from", "2026-11-01T00:00:00Z", "--to", "2026-11-02T00:00:00Z"]
    out = run("export", "cork-cube", *span, "--out", "new.csv")

    assert "48 new readings from 24 rows" in first.output
    assert out.exit_code == 0
    rows = [line.split(",") for line in (folder / "new.csv").read_text().splitlines()]
    humidity = [(row[0], float(row[3])) for row in rows if row[2] == "humidity"]
    assert humidity == [(f"2026-11-01T{hour:02}:00:00Z", 60.0 + hour) for hour in range(24)]
    assert {row[2] for row in rows[1:]} >= {"temperature", "humidity", "dew_point"}


def test_rows_that_cannot_be_used_are_told(folder: Path) -> None:
    """The rest goes in; each kind of mistake is counted and shown by line."""
    run("setup", "apply", "enclosures.toml")
    (folder / "old.csv").write_text(LOG + "yesterday,20,50\n2026-11-03T00:00:00Z,warm,50\n")

    result = run("import", "old.csv", "--probe", "cork-cube/canopy")

    assert "left out: 1 x no time" in result.output
    assert "line 26: time 'yesterday' is no time" in result.output
    assert "line 27: temperature 'warm' is no number" in result.output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["old.csv", "--probe", "cork-cube/attic"], "no such probe; there are: cork-cube/canopy"),
        (["old.csv", "--probe", "nowhere/canopy"], "no room or enclosure 'nowhere'"),
        (["old.csv", "--probe", "cork-cube/canopy", "--time", "When"], "no column 'When'"),
        (["none.csv", "--probe", "cork-cube/canopy"], "cannot be read"),
    ],
)
def test_an_import_that_cannot_be(folder: Path, words: list[str], says: str) -> None:
    """Exit code 2 and what would be right."""
    run("setup", "apply", "enclosures.toml")
    (folder / "old.csv").write_text(LOG)

    result = run("import", *words)

    assert result.exit_code == 2
    assert says in result.output


@pytest.mark.usefixtures("folder")
def test_an_export_that_cannot_be() -> None:
    """An unknown enclosure and a time that is none are told."""
    out = ["--out", "new.csv"]

    assert run("export", "nowhere", "--from", "2026-11-01", *out).exit_code == 2
    wrong = run("export", "cork-cube", "--from", "last week", *out)
    assert wrong.exit_code == 2
    assert "write 2026-01-31T20:00:00Z" in wrong.output


def test_a_changed_set_up_is_rehearsed_on_an_old_log(folder: Path) -> None:
    """Twice as told and as the API's JSON: with the stricter range there would have been a call."""
    run("setup", "apply", "enclosures.toml")
    rows = "".join(f"2026-11-01T{n // 60:02}:{n % 60:02}:00Z,23,65\n" for n in range(600))
    (folder / "old.csv").write_text("time,temperature,humidity\n" + rows)
    run("import", "old.csv", "--probe", "cork-cube/canopy")
    (folder / "strict.toml").write_text(CORK_CUBE.replace("[60, 95]", "[70, 95]"))
    span = ["--from", "2026-11-01T00:00:00Z", "--to", "2026-11-01T09:30:00Z"]

    told = run("rehearse", "cork-cube", *span, "--setup", "strict.toml")
    as_json = json.loads(run("rehearse", "cork-cube", *span, "--json").output)

    assert told.exit_code == 0
    lines = told.output.splitlines()
    assert lines[0] == (
        "Cork cube, 2026-11-01 00:00 to 2026-11-01 09:30 (Europe/Lisbon), 1,140 readings"
    )
    assert "With the change there would have been 1 call in 1 night" in told.output
    assert "calls                        0               0               1" in lines
    assert any(
        line.startswith("+ 2026-11-01 00:20  warning   Humidity in the canopy") for line in lines
    )
    assert as_json["unchanged"]["calls"] == 0
    assert "changed" not in as_json
    assert run("setup", "apply", "enclosures.toml").output == "nothing to change\n"


def test_a_rehearsal_of_nothing(folder: Path) -> None:
    """Nothing recorded is told in a sentence; a stranger, a room and a wrong span are refused."""
    run("setup", "apply", "enclosures.toml")
    (folder / "other.toml").write_text('[[enclosure]]\nid = "jar"\nname = "Jar"\n')
    since = ["--from", "2026-11-01T00:00:00Z"]

    empty = run("rehearse", "cork-cube", *since)
    stranger = run("rehearse", "cork-cube", *since, "--setup", "other.toml")

    assert empty.exit_code == 0
    assert "Nothing was recorded in this span" in empty.output
    assert "calls" not in empty.output
    assert stranger.exit_code == 2
    assert "other.toml: enclosure: there is none with id 'cork-cube'; known: jar" in stranger.output
    assert run("rehearse", "nowhere", *since).exit_code == 2
    assert "is a room" in run("rehearse", "back-room", *since).output
    assert "must lie before" in run("rehearse", "cork-cube", *since, "--to", "2026-10-01").output
