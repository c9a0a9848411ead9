"""``dewkeep token``: keys to the API."""

import time
from contextlib import closing

import click

from monitor.cli.options import config_option
from monitor.setup.settings import Settings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import rfc3339


@click.group("token")
def command() -> None:
    """Make, list and revoke the tokens that other machines need for the API."""


@command.command("new")
@click.option("--scope", type=click.Choice([str(s) for s in Scope]), required=True)
@click.option("--name", default="keeper", show_default=True, help="Whose it is.")
@config_option
def new(scope: str, name: str, settings: Settings) -> None:
    """Make a token. It is shown once and kept only as a hash."""
    with closing(Database(settings.store.path)) as database, database.transaction() as connection:
        click.echo(tokens.create(connection, name, Scope(scope), _now_ms()))


@command.command("list")
@config_option
def show(settings: Settings) -> None:
    """List all tokens; the tokens themselves cannot be shown again."""
    with closing(Database(settings.store.path)) as database, database.reading() as connection:
        known = tokens.everyone(connection)
    if not known:
        click.echo("no tokens yet; make one with: dewkeep token new --scope view")
    for token in known:
        used = "never used" if token.last_used_ms is None else f"used {rfc3339(token.last_used_ms)}"
        state = used if token.revoked_ms is None else f"revoked {rfc3339(token.revoked_ms)}"
        click.echo(f"{token.id}  {token.scope:8}{token.name}  {state}")


@command.command("revoke")
@click.argument("number", type=int)
@config_option
def revoke(number: int, settings: Settings) -> None:
    """Make token NUMBER (see `token list`) useless."""
    with closing(Database(settings.store.path)) as database, database.transaction() as connection:
        tokens.revoke(connection, number, _now_ms())
    click.echo(f"token {number} is useless from now on")


def _now_ms() -> int:
    return time.time_ns() // 1_000_000
