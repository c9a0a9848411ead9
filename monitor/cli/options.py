"""Options that several commands share."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import click

from monitor.errors import Problem, SettingsError
from monitor.setup.settings import Settings, load_settings
from monitor.setup.timezones import known_zone
from monitor.times import parse_rfc3339

F = TypeVar("F", bound=Callable[..., Any])

DEFAULT_CONFIG = "dewkeep.toml"


class ConfigFile(click.ParamType[Settings]):
    """A settings file, read and checked."""

    name = "file"

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> Settings:
        """Read it; what is wrong in it is told with file and key."""
        del param, ctx
        path = Path(value)
        if not path.is_file():
            raise SettingsError(
                [
                    Problem(
                        str(path),
                        "",
                        "there is no such file; name one with --config or DEWKEEP_CONFIG "
                        "(config/dewkeep.toml is an example)",
                    )
                ]
            )
        return load_settings(path, os.environ)


def config_option(function: F) -> F:
    """``--config FILE``, else ``DEWKEEP_CONFIG``, else ``./dewkeep.toml``; gives ``settings``."""
    return click.option(
        "--config",
        "settings",
        type=ConfigFile(),
        envvar="DEWKEEP_CONFIG",
        default=DEFAULT_CONFIG,
        show_default=True,
        help="Settings file.",
    )(function)


class Instant(click.ParamType[int]):
    """A time as RFC 3339 text; gives epoch milliseconds."""

    name = "time"

    def convert(
        self, value: str | int, param: click.Parameter | None, ctx: click.Context | None
    ) -> int:
        """Read it, or say what a time looks like."""
        if isinstance(value, int):
            return value
        try:
            return parse_rfc3339(value)
        except ValueError as exc:
            self.fail(f"{value!r} is no time ({exc}); write 2026-01-31T20:00:00Z", param, ctx)


class Zone(click.ParamType[ZoneInfo]):
    """A time zone by its name in the IANA list."""

    name = "zone"

    def convert(
        self, value: str | ZoneInfo, param: click.Parameter | None, ctx: click.Context | None
    ) -> ZoneInfo:
        """Look it up, or say what a name looks like."""
        if isinstance(value, ZoneInfo):
            return value
        try:
            return ZoneInfo(known_zone(value))
        except ValueError as exc:
            self.fail(str(exc), param, ctx)
