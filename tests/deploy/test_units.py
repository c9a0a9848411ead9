"""The unit and the container files: what they promise, read from the files themselves."""

import configparser
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from monitor.setup.environment import variables
from monitor.setup.settings import Settings
from tests.deploy.conftest import DEPLOY

UNIT = DEPLOY / "dewkeep.service"
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
CONTAINERFILE = (DEPLOY / "Containerfile").read_text()


def tool(name: str) -> str:
    """A program of the environment or of this machine; the test is skipped without it."""
    found = shutil.which(name, path=str(Path(sys.executable).parent)) or shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


def service() -> configparser.SectionProxy:
    """The unit's part on the service."""
    unit = configparser.RawConfigParser(strict=False, comment_prefixes=("#",))
    unit.optionxform = str  # type: ignore[assignment, method-assign]
    unit.read(UNIT)
    return unit["Service"]


def test_the_unit_is_told_of_and_looked_after() -> None:
    """It reports itself, is watched, comes back whatever happens, and stops in order."""
    here = service()

    assert (here["Type"], here["Restart"]) == ("notify", "always")
    assert int(here["WatchdogSec"]) >= 30, "longer than the ingest loop's longest turn"
    assert "StartLimitIntervalSec=0" in UNIT.read_text()


def test_the_unit_is_sandboxed() -> None:
    """Systemd's own verdict is better than 1.5 of 10 (docs/deployment.md has the figure)."""
    verdict = subprocess.run(
        [tool("systemd-analyze"), "security", "--offline=true", "--no-pager", UNIT],
        capture_output=True,
        text=True,
    ).stdout
    found = re.search(r"Overall exposure level for dewkeep.service: ([0-9.]+)", verdict)
    if found is None:
        pytest.skip("this systemd cannot judge a unit that is not installed")

    assert float(found[1]) < 1.5
    assert found[1] in (DEPLOY.parent / "docs/deployment.md").read_text()


def test_the_unit_knows_only_words_of_systemd() -> None:
    """No line of it is passed over as unknown."""
    said = subprocess.run(
        [tool("systemd-analyze"), "verify", "--man=no", UNIT], capture_output=True, text=True
    ).stderr

    assert not re.search(r"Unknown|Failed to parse|Invalid", said), said


def test_the_containerfile_passes_its_linter() -> None:
    """Hadolint finds nothing."""
    done = subprocess.run(
        [tool("hadolint"), DEPLOY / "Containerfile"], capture_output=True, text=True
    )

    assert done.stdout == ""


def test_the_container_is_nobody_in_particular() -> None:
    """Its last stage runs as a number that is not root's."""
    last = CONTAINERFILE.rpartition("\nFROM ")[2]
    (user,) = re.findall(r"^USER (\d+):(\d+)$", last, re.MULTILINE)

    assert "0" not in user
    assert CONTAINERFILE.count("\nUSER ") == 1


def test_the_container_copies_what_there_is() -> None:
    """Every file that goes in is in the repository."""
    for sources in re.findall(r"^COPY (?!--from)(.*) \S+$", CONTAINERFILE, re.MULTILINE):
        for source in sources.split():
            assert (DEPLOY.parent / source).exists(), source


@pytest.mark.parametrize("name", sorted(COMPOSE["services"]))
def test_a_service_has_no_more_than_it_needs(name: str) -> None:
    """A file system it cannot write, a limit of memory, no new rights, and it comes back."""
    here = COMPOSE["services"][name]

    assert here["read_only"]
    assert here["mem_limit"]
    assert "no-new-privileges:true" in here["security_opt"]
    assert here["restart"] == "unless-stopped"
    assert "privileged" not in here
    assert all(volume.endswith(":ro") for volume in here["volumes"] if volume.startswith("./"))


def test_the_api_is_for_this_machine_only() -> None:
    """What composes publishes it on the loopback address; the broker speaks TLS to others."""
    assert COMPOSE["services"]["dewkeep"]["ports"] == ["127.0.0.1:8420:8420"]
    assert COMPOSE["services"]["broker"]["ports"] == ["8883:8883"]
    assert COMPOSE["services"]["dewkeep"]["cap_drop"] == ["ALL"]


def test_the_composed_settings_exist() -> None:
    """Every variable is one that dewkeep knows, and none holds a secret."""
    known = {variable.name: variable.secret for variable in variables(Settings, {})}
    given = COMPOSE["services"]["dewkeep"]["environment"]

    assert given.keys() <= known.keys()
    assert not any(known[name] for name in given)


def test_volumes_are_declared() -> None:
    """Named volumes are made, and nothing is made that nobody uses."""
    used = {
        volume.split(":")[0]
        for here in COMPOSE["services"].values()
        for volume in here["volumes"]
        if not volume.startswith((".", "/"))
    }

    assert used == COMPOSE["volumes"].keys()
