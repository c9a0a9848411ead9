"""``dewkeep calibrate``: humidity probes in the salt box."""

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple, TypeVar

import click

from monitor.cli.options import config_option
from monitor.cli.stores import stores
from monitor.errors import NotFound
from monitor.jobs.calibrating import Calibrating, Progress
from monitor.jobs.certificates import told
from monitor.setup.calibration import Salt, as_written
from monitor.setup.settings import Settings
from monitor.store.readings import ReadingStore
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import calibrations, setup
from monitor.store.sqlite.state.calibrations import CalibrationRow, State
from monitor.store.sqlite.state.setup import Place

WHO = "command line"
LOOK_EVERY_S = 60.0

F = TypeVar("F", bound=Callable[..., Any])


class _Address(click.ParamType[tuple[str, str]]):
    """``ENCLOSURE/PROBE`` or ``ROOM/PROBE``."""

    name = "address"

    def convert(
        self,
        value: str | tuple[str, str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> tuple[str, str]:
        """Cut it in two."""
        if isinstance(value, tuple):
            return value
        place, slash, probe = value.partition("/")
        if not (place and slash and probe):
            self.fail(f"{value!r} is no probe; write cork-cube/canopy", param, ctx)
        return place, probe


class _Bench(NamedTuple):
    """What a command works with."""

    database: Database
    readings: ReadingStore
    calibrating: Calibrating


def _of_a_probe(function: F) -> F:
    return config_option(
        click.argument("address", type=_Address(), metavar="PLACE/PROBE")(function)
    )


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


@contextmanager
def _bench(settings: Settings) -> Iterator[_Bench]:
    with stores(settings) as (database, readings):
        yield _Bench(database, readings, Calibrating(database, readings, settings.calibration))


@click.group("calibrate")
def command() -> None:
    """Calibrate a humidity probe with saturated salts, step by step.

    docs/calibration.md tells how to make a salt box, and what to keep away from it.
    """


@command.command("start")
@_of_a_probe
@click.argument(
    "salts",
    nargs=-1,
    required=True,
    type=click.Choice([salt.value for salt in Salt]),
    metavar="SALT...",
)
def start(address: tuple[str, str], salts: tuple[str, ...], settings: Settings) -> None:
    """The probe was put into the box with the first SALT.

    Its climate alarms are off until the run ends. With one salt an offset is found, with two or
    more offset and gain.
    """
    with _bench(settings) as bench:
        chosen = tuple(Salt(salt) for salt in salts)
        _tell(bench.calibrating.start(*address, chosen, WHO, _now_ms()))


@command.command("watch")
@click.option("--once", is_flag=True, help="Tell how far it is and end.")
@click.option("--json", "as_json", is_flag=True, help="What the API would answer; implies --once.")
@_of_a_probe
def watch(address: tuple[str, str], once: bool, as_json: bool, settings: Settings) -> None:
    """Follow the run under way until the probe is at rest."""
    with _bench(settings) as bench:
        number = _running(bench, address).id
        while True:
            bench.readings.refresh()
            found = bench.calibrating.progress(*address, number, _now_ms())
            if as_json:
                click.echo(json.dumps(told(found), ensure_ascii=False))
                return
            _tell(found)
            if once or found.rest is None or found.rest.rested is not None:
                return
            time.sleep(LOOK_EVERY_S)


@command.command("next")
@_of_a_probe
def next_salt(address: tuple[str, str], settings: Settings) -> None:
    """The probe is at rest and goes to the next salt now.

    Say so before you open the box: the last four hours count.
    """
    with _bench(settings) as bench:
        number = _running(bench, address).id
        _tell(bench.calibrating.next_salt(*address, number, _now_ms()))


@command.command("finish")
@_of_a_probe
def finish(address: tuple[str, str], settings: Settings) -> None:
    """The probe is at rest and comes out now; tells the certificate.

    Say so before you open the box: the last four hours count.
    """
    with _bench(settings) as bench:
        number = _running(bench, address).id
        found = bench.calibrating.finish(*address, number, _now_ms())
    click.echo("\n".join(_certificate(found.row)))


@command.command("abandon")
@_of_a_probe
def abandon(address: tuple[str, str], settings: Settings) -> None:
    """The probe comes out without a certificate."""
    with _bench(settings) as bench:
        bench.calibrating.abandon(*address, _running(bench, address).id, _now_ms())
    click.echo("abandoned")


@command.command("apply")
@click.option("--run", "number", type=int, help="Which run; default: the last finished one.")
@_of_a_probe
def apply(address: tuple[str, str], number: int | None, settings: Settings) -> None:
    """Correct the probe's readings by a certificate from now on.

    What is stored stays as it is. A running daemon takes the change over within a second.
    """
    with _bench(settings) as bench:
        chosen = _finished(bench, address) if number is None else number

        def put(place: Place, who: str, revision: int) -> None:
            with bench.database.transaction() as connection:
                setup.put(connection, place, who=who, now_ms=_now_ms(), expected=revision)

        correction = bench.calibrating.apply(*address, chosen, WHO, _now_ms(), put)
    click.echo(f"in force: {as_written(correction)}")
    if settings.setup.file is not None:
        click.echo(
            f"it stays so over a restart; write it under the probe in {settings.setup.file} too, "
            "so that the file tells the whole"
        )


@command.command("list")
@_of_a_probe
def list_(address: tuple[str, str], settings: Settings) -> None:
    """All runs of a probe and their certificates, newest first."""
    with _bench(settings) as bench, bench.database.reading() as connection:
        setup.get(connection, address[0])
        rows = calibrations.page(connection, *address)
    if not rows:
        click.echo("never calibrated")
    for row in rows:
        click.echo("\n".join(_certificate(row)))


def _running(bench: _Bench, address: tuple[str, str]) -> CalibrationRow:
    return _newest(bench, address, State.RUNNING, "is not being calibrated; start a run first")


def _finished(bench: _Bench, address: tuple[str, str]) -> int:
    return _newest(bench, address, State.FINISHED, "has no certificate; finish a run first").id


def _newest(
    bench: _Bench, address: tuple[str, str], state: State, otherwise: str
) -> CalibrationRow:
    with bench.database.reading() as connection:
        for row in calibrations.page(connection, *address):
            if row.state is state:
                return row
    raise NotFound(f"probe {'/'.join(address)} {otherwise}")


def _tell(found: Progress) -> None:
    step = found.row.run.steps[-1]
    reads = "" if found.rest is None or found.rest.last is None else f" {found.rest.last:.2f} %RH"
    against = "" if found.reference is None else f" (salt {found.reference.humidity:.2f} %RH)"
    click.echo(f"{step.salt.in_words}{reads}{against}: {found.says}")


def _certificate(row: CalibrationRow) -> list[str]:
    day = time.strftime("%Y-%m-%d", time.gmtime(row.started_ms / 1000))
    found = row.certificate
    if found is None:
        return [f"run {row.id}, {day}: {row.state}"]
    due = time.strftime("%Y-%m-%d", time.gmtime(found.due_ms / 1000))
    standing = "applied" if row.applied_ms is not None else "not applied"
    lines = [f"run {row.id}, {day}: {standing}, due again {due}", f"  {found.says}"]
    lines += [
        f"  {point.salt.in_words}: {point.reference:.2f} %RH at {point.temperature:.1f} °C, "
        f"read as {point.reading:.2f}"
        for point in found.points
    ]
    return lines
