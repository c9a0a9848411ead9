"""Reading TOML files."""

from pathlib import Path

import pytest

from monitor.documents.toml import read_toml
from monitor.errors import SettingsError


def test_a_document_is_read(tmp_path: Path) -> None:
    """Tables, lists and text beyond ASCII come through."""
    path = tmp_path / "a.toml"
    path.write_text('[[plant]]\nname = "Efeutute, groß"\n', encoding="utf-8")

    assert read_toml(path) == {"plant": [{"name": "Efeutute, groß"}]}


def test_a_slip_in_the_syntax_names_the_line(tmp_path: Path) -> None:
    """The keeper is sent to the line that cannot be read."""
    path = tmp_path / "a.toml"
    path.write_text('a = 1\nb = 2\nc "3"\n')

    with pytest.raises(SettingsError, match=r"a\.toml: line 3: is no TOML: .*\(column 3\)"):
        read_toml(path)


def test_a_document_that_ends_too_early_is_told(tmp_path: Path) -> None:
    """There is no line to name at the end of a document."""
    path = tmp_path / "a.toml"
    path.write_text("a = ")

    with pytest.raises(SettingsError, match=r"a\.toml: is no TOML: .*end of document"):
        read_toml(path)


def test_a_missing_file_is_told_as_such(tmp_path: Path) -> None:
    """The file's name and the reason."""
    with pytest.raises(SettingsError, match=r"none\.toml: cannot be read: No such file"):
        read_toml(tmp_path / "none.toml")


def test_a_file_in_another_encoding_is_refused(tmp_path: Path) -> None:
    """TOML is UTF-8; a file saved otherwise is not guessed at."""
    path = tmp_path / "a.toml"
    path.write_bytes('a = "größe"'.encode("latin-1"))

    with pytest.raises(SettingsError, match=r"a\.toml: is not UTF-8 text \(byte 7\)"):
        read_toml(path)


def test_a_file_that_is_nested_far_too_deeply(tmp_path: Path) -> None:
    """It is a mistake in the file, not the end of the program."""
    path = tmp_path / "deep.toml"
    path.write_text("x = " + "[" * 100_000)

    with pytest.raises(SettingsError, match=r"deep.toml: is nested far too deeply"):
        read_toml(path)
