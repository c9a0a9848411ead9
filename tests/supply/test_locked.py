"""Installing from a lock: what fits comes in, what does not is told, what was changed stays out."""

import hashlib
import os
import platform
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HERE = f"Python {sys.version_info.major}.{sys.version_info.minor} on {platform.system()}"


@dataclass(frozen=True)
class Shelf:
    """A folder with one package to install from, and one to install into."""

    folder: Path
    sha256: str

    def install(self, sha256: str, fits: str = HERE, name: str = "tiny") -> tuple[int, str]:
        """By a lock that names it; the exit code (10: it would go on without) and what was said."""
        lock = self.folder / "lock"
        lock.write_text(f"# For {fits}; by hand.\n{name}==1.0 \\\n    --hash=sha256:{sha256}\n")
        script = 'set -euo pipefail; . deploy/environment; install_locked "$LOCK" || exit 10'
        done = subprocess.run(
            ["bash", "-c", script],
            cwd=ROOT,
            env={
                "PATH": os.environ["PATH"],
                "python": sys.executable,
                "LOCK": str(lock),
                "PIP_CONFIG_FILE": os.devnull,
                "PIP_NO_INDEX": "1",
                "PIP_FIND_LINKS": str(self.folder),
                "PIP_TARGET": str(self.folder / "installed"),
            },
            capture_output=True,
            text=True,
        )
        return done.returncode, done.stderr

    @property
    def installed(self) -> bool:
        """Whether it came in."""
        return (self.folder / "installed" / "tiny.py").exists()


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """With a wheel of one empty module (the binary distribution format, PEP 427)."""
    wheel = tmp_path / "tiny-1.0-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        archive.writestr("tiny.py", "")
        info = "tiny-1.0.dist-info"
        archive.writestr(f"{info}/METADATA", "Metadata-Version: 2.1\nName: tiny\nVersion: 1.0\n")
        archive.writestr(
            f"{info}/WHEEL",
            "Wheel-Version: 1.0\nGenerator: hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        )
        archive.writestr(f"{info}/RECORD", "")
    return Shelf(tmp_path, hashlib.sha256(wheel.read_bytes()).hexdigest())


def test_what_is_locked_is_installed(shelf: Shelf) -> None:
    """The lock is for this Python and system, the file is the one it names."""
    assert shelf.install(shelf.sha256) == (0, "")
    assert shelf.installed


def test_a_changed_file_ends_it_all(shelf: Shelf) -> None:
    """It is not installed, and there is no going on with whatever else may be had."""
    code, said = shelf.install("0" * 64)

    assert code == 1
    assert "DO NOT MATCH THE HASHES" in said
    assert not shelf.installed


def test_a_lock_for_others_is_not_used(shelf: Shelf) -> None:
    """Another Python, another system: said, and then one goes on without."""
    code, said = shelf.install(shelf.sha256, fits="Python 2.7 on AmigaOS")

    assert code == 10
    assert f"this is {HERE}" in said
    assert not shelf.installed


def test_a_version_that_is_not_to_be_had(shelf: Shelf) -> None:
    """Said with pip's reason, and then one goes on without."""
    code, said = shelf.install(shelf.sha256, name="nowhere")

    assert code == 10
    assert "No matching distribution found for nowhere==1.0" in said


def test_the_lock_says_whom_it_is_for() -> None:
    """tests/run goes by its first line."""
    first = (ROOT / "tests/supply/requirements.lock").read_text().partition("\n")[0]

    assert first.startswith("# For Python 3.11 on Linux; ")
