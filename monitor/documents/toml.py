"""Reading TOML files into models."""

import re
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from monitor.documents.problems import problems
from monitor.errors import Problem, SettingsError

M = TypeVar("M", bound=BaseModel)

WHERE = re.compile(r"(?P<says>.*) \(at line (?P<line>\d+), column (?P<column>\d+)\)")


def read_toml(path: Path) -> dict[str, Any]:
    """The document in a TOML file.

    Raises:
        SettingsError: it cannot be read, or is no TOML; names the line.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as exc:
        says = f"cannot be read: {exc.strerror}"
        raise SettingsError([Problem(str(path), "", says)]) from exc
    except UnicodeDecodeError as exc:
        says = f"is not UTF-8 text (byte {exc.start})"
        raise SettingsError([Problem(str(path), "", says)]) from exc
    except RecursionError as exc:
        raise SettingsError([Problem(str(path), "", "is nested far too deeply")]) from exc
    except tomllib.TOMLDecodeError as exc:
        where = WHERE.fullmatch(str(exc))
        if where is None:
            raise SettingsError([Problem(str(path), "", f"is no TOML: {exc}")]) from exc
        says = f"is no TOML: {where['says']} (column {where['column']})"
        raise SettingsError([Problem(str(path), f"line {where['line']}", says)]) from exc


def parse(model: type[M], data: object, file: str) -> M:
    """A document as a model.

    Raises:
        SettingsError: lists all that is wrong with it.
    """
    try:
        return model.model_validate(data)
    except ValidationError as exc:
        raise SettingsError(problems(exc, model, data, file)) from exc
