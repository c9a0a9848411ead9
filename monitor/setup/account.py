"""Secrets, and what signs in with one: from a file of its own or from the environment."""

from pathlib import Path
from typing import Self

from pydantic import SecretStr, model_validator

from monitor.documents.base import Model
from monitor.documents.problems import faults
from monitor.errors import Problem, SettingsError


class Account(Model):
    """Whoever signs in somewhere: name and password, or nobody."""

    username: str | None = None
    """The name to sign in with."""
    password_file: Path | None = None
    """File that holds the password."""
    password: SecretStr | None = None
    """The password, from the environment only."""

    @model_validator(mode="after")
    def _password_has_a_name(self) -> Self:
        if self.username is None and (self.password or self.password_file):
            raise faults([(("username",), "is missing; a password needs one")])
        return self

    def secret(self) -> str | None:
        """The password to sign in with, if there is one.

        Raises:
            SettingsError: the file that should hold it cannot be read.
        """
        return secret_of(self.password, self.password_file)


def secret_of(given: SecretStr | None, file: Path | None) -> str | None:
    """A secret that the environment gives, else the one in a file, else none.

    Raises:
        SettingsError: the file cannot be read, or is empty.
    """
    if given is not None:
        return given.get_secret_value()
    return None if file is None else read_secret(file)


def read_secret(path: Path) -> str:
    """The secret in a file, without the line end.

    Raises:
        SettingsError: the file cannot be read, or is empty.
    """
    try:
        secret = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as exc:
        raise SettingsError([Problem(str(path), "", f"cannot be read: {exc}")]) from exc
    if not secret:
        raise SettingsError([Problem(str(path), "", "is empty; write the secret in it")])
    return secret
