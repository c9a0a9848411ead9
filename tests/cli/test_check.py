"""``dewkeep check``."""

from tests.cli.conftest import CommandLine
from tests.support.daemon import CORK_CUBE


def test_all_is_in_order(cli: CommandLine) -> None:
    """And what there is."""
    assert cli.ok("check") == "in order: 1 enclosure, 1 room, 2 probes\n"


def test_settings_without_a_set_up(cli: CommandLine) -> None:
    """That is in order too."""
    cli.config.write_text("")

    assert "no set-up file is named" in cli.ok("check")


def test_wrong_settings_are_told_by_file_and_key(cli: CommandLine) -> None:
    """Each on a line of its own."""
    cli.config.write_text('[server]\nport = "high"\n[brokr]\nhost = "x"\n')
    lines = cli.wrong("check").splitlines()

    assert len(lines) == 2
    assert lines[0].startswith(f"{cli.config}: server.port: must be a whole number")
    assert lines[1] == f"{cli.config}: brokr: unknown key; did you mean 'broker'?"


def test_a_wrong_set_up_is_told_by_file_and_key(cli: CommandLine) -> None:
    """By the names its keeper gave."""
    path = cli.write(
        "enclosures.toml",
        '[[enclosure]]\nid = "cube"\nname = "Cube"\nroom = "attic"\n'
        'probe = [{ id = "a", zone = "sky" }]\ninhabitant = [{ species = "draco" }]\n',
    )
    says = cli.wrong("check")

    assert f"{path}: enclosure[cube].probe[a].zone: must be " in says


def test_a_file_that_is_no_toml(cli: CommandLine) -> None:
    """With its line."""
    cli.config.write_text("[server\n")

    assert f"{cli.config}: line 1: is no TOML" in cli.wrong("check")


def test_secrets_must_be_there(cli: CommandLine) -> None:
    """An empty file is no password."""
    secret = cli.write("broker.secret", "")
    cli.config.write_text('[broker]\nusername = "dewkeep"\npassword_file = "broker.secret"\n')

    assert f"{secret}: is empty; write the secret in it" in cli.wrong("check")


def test_a_peers_token_must_be_one(cli: CommandLine) -> None:
    """Before the daemon starts without it."""
    token = cli.write("keeper-2.token", "dewkeep 1 t0ken")
    cli.config.write_text(
        '[[peer]]\nname = "keeper-2"\nurl = "http://192.0.2.12:8420"\n'
        'token_file = "keeper-2.token"\n'
    )
    says = cli.wrong("check")

    assert f"{token}: the token of peer keeper-2 must be one word on one line" in says
    assert "t0ken" not in says.replace(str(token), "")


def test_the_examples_we_ship_are_in_order(cli: CommandLine) -> None:
    """config/dewkeep.toml with config/enclosures.toml."""
    assert "in order: " in cli.run("check", "--config", "config/dewkeep.toml").stdout


def test_settings_and_set_up_that_contradict_each_other(cli: CommandLine) -> None:
    """A device that each takes for another probe is told with both; neither comes first unseen."""
    rack = '[[source]]\ntopic = "rack/{device}"\n[source.devices]\n"0x01" = "cork-cube/canopy"\n'
    cli.config.write_text(f"{cli.config.read_text()}{rack}")
    cli.write("enclosures.toml", CORK_CUBE.replace('id = "air"', 'id = "air"\ndevice = "0x01"'))
    says = cli.wrong("check")

    assert says.strip().endswith(
        "settings: source[1].devices.0x01: device '0x01' is cork-cube/canopy in the settings and "
        "back-room/air in the set-up; take it out of one of them"
    )
    assert says == cli.wrong("setup", "apply", cli.folder / "enclosures.toml")
    assert "device" not in cli.ok("setup", "dump")
