"""The demo's room: it fits its set-up, is calm by itself, and its mister fails at night."""

import datetime as dt
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import monitor
from monitor.setup.models import Enclosure, Setup, Zone
from monitor.simulation import Record, first_below, simulate, wall_clock
from monitor.simulation.demo_room import CLOCK, SEED, BackRoom, back_room

HOUR = 3_600_000
DAY = 24 * HOUR
NOW = round(dt.datetime(2026, 11, 20, 10, tzinfo=CLOCK).timestamp() * 1000)


@pytest.fixture(scope="module")
def setup() -> Setup:
    """The set-up file that goes with the demo."""
    path = Path(monitor.__file__).parent / "demo" / "back-room.toml"
    return Setup.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))


def local(at_ms: int) -> dt.datetime:
    """Lisbon time."""
    return dt.datetime.fromtimestamp(at_ms / 1000, CLOCK)


def history(room: BackRoom, *, days: float) -> Record:
    """The last days before the demo opens."""
    return simulate(room.scenario, room.end_ms - round(days * DAY), room.end_ms, seed=SEED)


def lowest(enclosure: Enclosure, at_ms: np.ndarray, zone: Zone) -> np.ndarray:
    """The lower humidity limit of a zone at each of the times."""
    spans = enclosure.range[zone]
    assert spans.day.humidity is not None
    assert spans.night.humidity is not None
    seconds = wall_clock.seconds_of_day(at_ms, CLOCK)
    lit = wall_clock.between(seconds, enclosure.lights_on, enclosure.lights_off)
    return np.where(lit, spans.day.humidity.low, spans.night.humidity.low)


def test_the_set_up_describes_the_simulated_room(setup: Setup) -> None:
    """Ids, zones, periods, lights, volumes and time zone are the same in both."""
    scenario = back_room(NOW).scenario
    assert [room.id for room in setup.room] == [scenario.room_id]
    assert [e.id for e in setup.enclosure] == [model.id for model in scenario.enclosures]
    written = {(setup.room[0].id, p.id): (p.zone.value, p.period_s) for p in setup.room[0].probe}
    for enclosure, model in zip(setup.enclosure, scenario.enclosures, strict=True):
        assert enclosure.timezone == scenario.timezone
        assert (enclosure.lights_on, enclosure.lights_off) == (model.lights_on, model.lights_off)
        assert enclosure.volume_l == pytest.approx(1000 * model.volume_m3)
        for probe in enclosure.probe:
            written[enclosure.id, probe.id] = (probe.zone.value, probe.period_s)
    simulated = {(p.owner, p.id): (p.zone, p.period_s) for p in scenario.probes}
    assert written == simulated


def test_new_builds_are_as_old_as_their_story(setup: Setup) -> None:
    """Whenever the demo is opened, the new builds are 19 and 9 days old; the file says not."""
    for month in range(1, 13):
        now = dt.datetime(2026, month, 14, 3, tzinfo=CLOCK)
        room = back_room(round(now.timestamp() * 1000))
        ages = {id_: (now.date() - day).days for id_, day in room.built_on.items()}
        assert ages == {"slate-tray": 19, "fern-drawer": 9}
    undated = {e.id for e in setup.enclosure if e.built_on is None}
    assert undated == set(room.built_on)


@pytest.mark.parametrize(
    "now",
    [
        dt.datetime(2026, 1, 8, 4, 31, tzinfo=CLOCK),
        dt.datetime(2026, 3, 29, 23, 59, tzinfo=CLOCK),
        dt.datetime(2026, 10, 25, 9, tzinfo=CLOCK),
        dt.datetime(2026, 11, 20, 10, tzinfo=CLOCK),
    ],
)
def test_humidity_falls_below_its_range_in_the_last_night(setup: Setup, now: dt.datetime) -> None:
    """The mister fails after half past midnight; before the lamp comes on, the air is too dry."""
    room = back_room(round(now.timestamp() * 1000))
    assert local(room.failed_ms).time() == dt.time(0, 31)
    assert room.end_ms - DAY - 5 * HOUR < room.failed_ms < room.end_ms
    record = history(room, days=3)
    misted = [e.at_ms for e in record.events if (e.owner, e.kind) == ("cork-cube", "misted")]
    assert local(max(misted)).time() == dt.time(0, 30)

    told = record.readings["cork-cube", "canopy"]
    night = (told.at_ms > room.failed_ms) & (told.at_ms < room.failed_ms + 7 * HOUR)
    limits = lowest(setup.enclosure[0], told.at_ms[night], Zone.CANOPY)
    crossed = first_below(told.at_ms[night], told.humidity[night], limits, 1200.0)
    assert crossed is not None
    assert 1.5 < (crossed - room.failed_ms) / HOUR < 4.0
    assert local(crossed).hour < 5


def test_without_the_failure_the_night_stays_in_range(setup: Setup) -> None:
    """In the same night with a working mister the canopy is never too dry for twenty minutes."""
    room = back_room(NOW)
    calm = replace(room, scenario=replace(room.scenario, faults=()))
    told = history(calm, days=3).readings["cork-cube", "canopy"]
    limits = lowest(setup.enclosure[0], told.at_ms, Zone.CANOPY)
    assert first_below(told.at_ms, told.humidity, limits, 1200.0) is None


def test_the_mister_is_repaired_when_the_demo_runs_on() -> None:
    """Run on past the repair, mistings and humidity come back."""
    room = back_room(NOW)
    repaired = room.scenario.faults[0].end_ms
    assert repaired is not None
    record = simulate(room.scenario, room.failed_ms - HOUR, repaired + 15 * HOUR, seed=SEED)
    humidity = record.enclosures["cork-cube"].zones["canopy"].humidity
    before, back = np.searchsorted(record.at_ms, [repaired - HOUR, repaired + 15 * HOUR])
    assert humidity[before] < 70.0 < 80.0 < humidity[back - 1]


@pytest.mark.slow
def test_thirty_days_of_history(setup: Setup) -> None:
    """Each enclosure shows what its story says, and temperature keeps to its ranges."""
    room = back_room(NOW)
    record = simulate(room.scenario, room.start_ms, room.end_ms, seed=SEED)
    assert record.at_ms[-1] - record.at_ms[0] > 29.9 * DAY
    for enclosure in setup.enclosure:
        for probe in enclosure.probe:
            told = record.readings[enclosure.id, probe.id]
            span = enclosure.range[probe.zone].day.temperature
            if span is not None:
                seconds = wall_clock.seconds_of_day(told.at_ms, CLOCK)
                noon = (seconds > 11 * 3600) & (seconds < 18 * 3600)
                inside = (told.temperature >= span.low) & (told.temperature <= span.high)
                assert inside[noon].mean() > 0.97, (enclosure.id, probe.id)
    tray = record.enclosures["slate-tray"].zones["substrate"].humidity
    tray = tray[~np.isnan(tray)]
    first, last = tray[1440 : 2 * 1440].mean(), tray[-1440:].mean()
    assert first > last + 15.0
    drawer = record.readings["fern-drawer", "floor"].humidity
    assert np.median(drawer) > 95.0


def test_the_keeper_finds_mould_in_the_drawer_and_little_in_the_tray() -> None:
    """At the end of history the drawer is in bloom, the tray nearly clean."""
    looks = back_room(NOW).inspections
    covers = {look.owner: int(look.detail["mould_cover"]) for look in looks}
    assert covers["fern-drawer"] >= 3
    assert covers["slate-tray"] <= 1
    assert [look.at_ms for look in looks] == sorted(look.at_ms for look in looks)
    assert looks[-1].at_ms < NOW
