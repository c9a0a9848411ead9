"""What dewkeep is made from: locked, hashed, listed, and built the same each time."""

import hashlib
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.supply.licences import canonical

ROOT = Path(__file__).parents[2]
LOCK = (ROOT / "tests/supply/requirements.lock").read_text()
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
LOCKED = dict(re.findall(r"^([a-z0-9._-]+)==(\S+)", LOCK, re.MULTILINE))
AT_RUN_TIME = [
    *PROJECT["dependencies"],
    *(line for extra in ("embedded", "push") for line in PROJECT["optional-dependencies"][extra]),
]


def test_everything_named_is_locked_at_a_version_that_fits() -> None:
    """Whoever changes pyproject.toml runs tests/supply/lock too."""
    lines = [*AT_RUN_TIME, *PROJECT["optional-dependencies"]["test"]]
    for requirement in map(Requirement, lines):
        version = LOCKED.get(canonical(requirement.name))
        assert version is not None, f"{requirement.name} is not in the lock"
        assert requirement.specifier.contains(version, prereleases=True), requirement


def test_every_package_has_its_hashes_and_no_address() -> None:
    """A file that was changed on its way is refused; where files come from is each one's own."""
    for entry in re.split(r"\n(?=\S)", LOCK.partition("\n")[2].strip()):
        assert "--hash=sha256:" in entry, entry.splitlines()[0]
    assert "://" not in LOCK
    assert "--index" not in LOCK


def test_every_licence_is_told() -> None:
    """docs/licences.md has a line for whatever is needed at run time."""
    listed = set(
        re.findall(r"^\| ([a-z0-9-]+) \| ", (ROOT / "docs/licences.md").read_text(), re.MULTILINE)
    )
    needed = {canonical(Requirement(line).name) for line in AT_RUN_TIME}

    assert needed <= listed
    assert "not said" not in (ROOT / "docs/licences.md").read_text()


@pytest.mark.slow
def test_a_wheel_is_the_same_each_time(tmp_path: Path) -> None:
    """Built twice, from files of different ages in different folders: the same bytes."""
    sums = []
    for turn in ("one", "another"):
        source = tmp_path / turn / "source"
        shutil.copytree(ROOT / "monitor", source / "monitor", ignore=_no_caches)
        for name in ("pyproject.toml", "README.md", "LICENSE"):
            shutil.copy(ROOT / name, source / name)
        for n, path in enumerate(source.rglob("*")):
            os.utime(path, (10**9 + n, 10**9 + n))
        done = subprocess.run(
            [
                *(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps"),
                *("--disable-pip-version-check", "--wheel-dir", tmp_path / turn, source),
            ],
            capture_output=True,
            text=True,
            env={**os.environ, "SOURCE_DATE_EPOCH": "1796000000"},
        )
        if "Could not find a version" in done.stderr and not os.environ.get("CI"):
            pytest.skip("what builds a wheel cannot be fetched here")
        assert done.returncode == 0, done.stderr
        (wheel,) = (tmp_path / turn).glob("*.whl")
        sums.append(hashlib.sha256(wheel.read_bytes()).hexdigest())

    assert sums[0] == sums[1]


def _no_caches(_folder: str, names: list[str]) -> list[str]:
    return [name for name in names if name == "__pycache__"]
