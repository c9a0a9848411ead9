"""``dewkeep copy``: readings from one engine into another."""

import time
from itertools import pairwise

import click
import numpy as np

from monitor.cli.options import ConfigFile, config_option
from monitor.cli.stores import stores
from monitor.errors import StoreError
from monitor.setup.settings import Settings
from monitor.store.readings import Readings, ReadingStore, SeriesKey, Track
from monitor.times import DAY_MS, parse_rfc3339

AT_A_TIME_MS = 180 * DAY_MS
RARE_BEFORE_MS = parse_rfc3339("2015-01-01")
"""Whatever is older is read at once: a look at each half-year since 1978 would take longer."""
SHOWN_WITHIN_S = 15.0


@click.command("copy")
@click.option("--to", "target", type=ConfigFile(), required=True, help="Settings of the other one.")
@config_option
def command(target: Settings, settings: Settings) -> None:
    """Copy all readings to the engine that another settings file names.

    What is there already stays, so it can be interrupted and run again, and run once more after the
    daemon has changed over. Both are counted at the end. Alarms, journal and set-up are not copied:
    they are in [store] path, which both files may share. Single readings that were forgotten are
    not there to be copied.
    """
    copied = 0
    with stores(settings) as (_, source), stores(target) as (_, sink):
        known = source.known_series()
        ids = dict(zip(known, sink.series_ids(list(known)), strict=True))
        with click.progressbar(known, label=target.store.engine) as bar:
            for key in bar:
                copied += _copy(source, sink, key, ids[key])
    click.echo(f"{copied} readings of {len(known)} series are in {target.store.engine}")


def _copy(source: ReadingStore, sink: ReadingStore, key: SeriesKey, series: int) -> int:
    """Copy one series; how many readings it has.

    Raises:
        StoreError: some of them have not arrived.
    """
    count = 0
    end_ms = time.time_ns() // 1_000_000 + DAY_MS
    starts = [0, *range(RARE_BEFORE_MS, end_ms, AT_A_TIME_MS)]
    for start_ms, next_ms in pairwise([*starts, end_ms]):
        track = source.track(key, start_ms, next_ms)
        if len(track):
            sink.backfill(
                Readings(np.full(len(track), series), track.at_ms, track.value, track.reason)
            )
            arrived = _arrived(sink, key, start_ms, next_ms, len(track))
            missing = len(np.setdiff1d(track.at_ms, arrived.at_ms))
            if missing:
                raise StoreError(f"{key}: {missing} of {len(track)} readings have not arrived")
        count += len(track)
    return count


def _arrived(sink: ReadingStore, key: SeriesKey, start_ms: int, end_ms: int, wanted: int) -> Track:
    """What the other engine has; one may take some seconds until it shows what it accepted."""
    until = time.monotonic() + SHOWN_WITHIN_S
    while True:
        track = sink.track(key, start_ms, end_ms)
        if len(track) >= wanted or time.monotonic() >= until:
            return track
        time.sleep(0.2)
