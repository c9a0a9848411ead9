"""The whole room: the same world however it is run, no water lost, and physics as written down."""

import datetime as dt
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from monitor.simulation import (
    EnclosureModel,
    Fault,
    FaultKind,
    HeatMat,
    Message,
    Misting,
    Opening,
    ProbeModel,
    RoomModel,
    Scenario,
    Simulator,
    ZoneModel,
    simulate,
)

START = round(dt.datetime(2026, 3, 27, 10, tzinfo=dt.UTC).timestamp() * 1000)
MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR

WET = EnclosureModel(
    id="wet",
    zones=(
        ZoneModel("canopy", lamp_k=3.0, mist_dip_k_per_g=0.02),
        ZoneModel("floor", lamp_k=1.5, near_substrate=0.3),
        ZoneModel("substrate", lamp_k=1.0, tau_s=9000, near_substrate=0.9),
    ),
    misting=(Misting((dt.time(9), dt.time(21)), seconds=90, dose_g_per_s=0.4),),
    opening=Opening(dt.time(19), chance=1.0),
    exchange_per_k=0.1,
    transpiration=0.2,
)
DRY = EnclosureModel(
    id="dry",
    zones=(ZoneModel("warm", mat_k=9.0), ZoneModel("cool", mat_k=2.0)),
    mat=HeatMat("warm", 27.0),
    exchange=3.0,
    kappa=0.4,
    built_ms=START + DAY + 30 * MINUTE,
)
ROOM = Scenario(
    enclosures=(WET, DRY),
    probes=(
        ProbeModel("room", "air", "room"),
        ProbeModel("wet", "top", "canopy", period_s=30, jitter_s=4.0, dropout=0.05),
        ProbeModel("wet", "low", "substrate", period_s=100),
        ProbeModel("dry", "warm", "warm", period_s=60),
    ),
    room_id="room",
    timezone="Europe/Lisbon",
    faults=(
        Fault(FaultKind.PROBE_STUCK, START + 30 * HOUR, START + 33 * HOUR, "wet", "top"),
        Fault(FaultKind.LID_OPEN, START + 40 * HOUR, START + 41 * HOUR, "wet"),
    ),
)


def assert_same(one: Any, other: Any, where: str = "") -> None:
    """Every number in two records is the same, NaN included."""
    if is_dataclass(one):
        for field in fields(one):
            assert_same(
                getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}"
            )
    elif isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key in one:
            assert_same(one[key], other[key], f"{where}[{key}]")
    else:
        np.testing.assert_array_equal(one, other, err_msg=where)


def test_equal_seeds_give_equal_worlds_and_others_do_not() -> None:
    """All chance comes from the seed."""
    runs = [simulate(ROOM, START, START + DAY, seed=seed) for seed in (1, 1, 2)]
    assert_same(runs[0], runs[1])
    assert not np.array_equal(runs[0].room.temperature, runs[2].room.temperature)
    assert not np.array_equal(
        runs[0].readings["wet", "low"].humidity, runs[2].readings["wet", "low"].humidity
    )


@settings(max_examples=8, deadline=None)
@given(cuts=st.lists(st.integers(0, 50 * 3600), max_size=12))
def test_live_steps_give_what_one_go_gives(cuts: list[int]) -> None:
    """Cut anywhere, within steps, beats, mistings and faults: the joined record is the same."""
    end = START + 50 * HOUR
    live = Simulator(ROOM, START, seed=3)
    record = live.advance(START)
    for cut in [*sorted(cuts), 50 * 3600]:
        record = record.then(live.advance(START + 1000 * cut))
    assert_same(record, simulate(ROOM, START, end, seed=3))
    assert live.now_ms == end


@pytest.mark.slow
def test_minute_by_minute_gives_what_one_go_gives() -> None:
    """A live source that advances each minute sends the readings of the batch."""
    end = START + 30 * HOUR
    live = Simulator(ROOM, START, seed=4)
    messages: list[Message] = []
    for now_ms in range(START, end + 1, MINUTE):
        messages += live.advance(now_ms).messages()
    assert messages == list(simulate(ROOM, START, end, seed=4).messages())


def test_a_fork_shares_what_is_to_come() -> None:
    """A fork runs on as the original does, and under another scenario meets the same weather."""
    world = Simulator(ROOM, START, seed=5)
    world.advance(START + 20 * HOUR)
    twin, other = world.fork(), world.fork(replace(ROOM, faults=()))
    end = START + 45 * HOUR
    record, repeated, calm = world.advance(end), twin.advance(end), other.advance(end)
    assert_same(record, repeated)
    assert_same(record.room, calm.room)
    hours = (record.at_ms - START) / HOUR
    difference = (
        calm.enclosures["wet"].zones["canopy"].humidity
        - record.enclosures["wet"].zones["canopy"].humidity
    )
    assert difference[hours <= 40.0] == pytest.approx(0.0)
    assert difference[hours > 40.0].max() > 5.0


def test_water_is_conserved_in_a_living_room() -> None:
    """Mist in = vapour, film and substrate + vented + drained, over three days with all effects."""
    for step_s in (30.0, 300.0):
        water = simulate(ROOM, START, START + 3 * DAY, step_s, seed=6).enclosures["wet"].water
        total = (
            water.vapour_g_m3 * WET.volume_m3
            + water.film_g
            + water.substrate_g
            + water.vented_g
            + water.drained_g
            - water.misted_g
        )
        assert total == pytest.approx(total[0], abs=1e-6)
        assert water.misted_g[-1] == pytest.approx(6 * 36.0, rel=0.15)
        assert water.vented_g[-1] > 30.0


def test_humidity_stays_on_its_scale() -> None:
    """Truth and readings lie in 0..100 %RH in every zone."""
    record = simulate(ROOM, START, START + 3 * DAY, seed=7)
    for truth in record.enclosures.values():
        for zone in truth.zones.values():
            assert np.nanmin(zone.humidity) > 0.0
            assert np.nanmax(zone.humidity) <= 100.0
    for told in record.readings.values():
        assert told.humidity.min() >= 0.0
        assert told.humidity.max() <= 100.0


def test_the_step_hardly_matters() -> None:
    """Thirty seconds and two minutes give the same course (calm room, no chance) to 0.4 %RH."""
    calm = RoomModel(weather_k=0, unrest_k=0, weather_kpa=0, unrest_kpa=0)
    plan = replace(WET.misting[0], spread=0.0)
    scenario = Scenario((replace(WET, misting=(plan,), opening=None),), room=calm)
    fine, coarse = (simulate(scenario, START, START + DAY, s) for s in (30.0, 120.0))
    one = fine.enclosures["wet"].zones["canopy"].humidity[3::4]
    other = coarse.enclosures["wet"].zones["canopy"].humidity
    assert np.percentile(np.abs(one - other), 99) < 0.4


def test_an_isothermal_box_decays_as_scipy_says() -> None:
    """Full run, saturation by IAPWS-95 (CoolProp): same course as scipy's integrator to 0.1 %."""
    room = RoomModel(22.0, 0, 0, 0, 1.2, 0, 0, 0)
    box = EnclosureModel(
        id="box",
        zones=(ZoneModel("floor", offset_k=3.0), ZoneModel("substrate", offset_k=1.5)),
        volume_m3=0.1,
        exchange=2.0,
        kappa=0.5,
        substrate_g=1e9,
        film_kappa=0.0,
        start_humidity=100.0,
    )
    saturated, wet = (
        1e3 * PropsSI("P", "T", t, "Q", 1, "Water") / (461.52 * 298.15) for t in (298.15, 296.65)
    )
    outside = 1e3 * 1200.0 / (461.52 * 298.15)
    hours = np.arange(1, 241) / 60
    other = solve_ivp(
        lambda _, v: 2.0 * (outside - v) + 0.5 * (wet - v),
        (0, 4),
        [saturated],
        t_eval=hours,
        rtol=1e-10,
        atol=1e-10,
    )
    record = simulate(Scenario((box,), room=room), START, START + 4 * HOUR)
    truth = record.enclosures["box"]
    assert truth.water.vapour_g_m3 == pytest.approx(other.y[0], rel=1e-3)
    assert truth.zones["floor"].humidity == pytest.approx(100 * other.y[0] / saturated, rel=1e-3)


def test_warm_zones_are_drier_and_ground_is_moister() -> None:
    """Zones share their vapour; humidity differs by temperature and nearness to the ground."""
    record = simulate(ROOM, START, START + 2 * DAY, seed=8)
    lit = record.enclosures["wet"].lamp > 0
    zones = record.enclosures["wet"].zones
    assert (zones["canopy"].humidity[lit] < zones["floor"].humidity[lit] + 1e-9).all()
    assert zones["substrate"].humidity.mean() > zones["floor"].humidity.mean() + 5.0
    dry = record.enclosures["dry"].zones
    there = ~np.isnan(dry["warm"].humidity)
    assert dry["warm"].humidity[there].mean() < dry["cool"].humidity[there].mean() - 5.0


def test_nothing_is_there_before_it_is_built() -> None:
    """A new build has no truth and no readings before its time; both begin right after it."""
    record = simulate(ROOM, START, START + 2 * DAY, seed=9)
    built = DRY.built_ms
    assert built is not None
    there = ~np.isnan(record.enclosures["dry"].zones["warm"].humidity)
    assert record.at_ms[there][0] == built + MINUTE
    assert there[record.at_ms > built].all()
    first = record.readings["dry", "warm"].at_ms[0]
    assert built < first <= built + 2 * MINUTE


def test_mistings_and_openings_are_told_as_events() -> None:
    """Each misting by the timer (local time) and each opened lid is an event with its length."""
    record = simulate(ROOM, START, START + 3 * DAY, seed=10)
    lisbon = ROOM.clock
    misted = [e for e in record.events if e.kind == "misted"]
    clock_times = {dt.datetime.fromtimestamp(e.at_ms / 1000, lisbon).time() for e in misted}
    assert clock_times == {dt.time(9), dt.time(21)}
    assert len(misted) == 6
    assert {e.detail["seconds"] for e in misted} == {90}
    opened = [e for e in record.events if e.kind == "maintenance"]
    assert len(opened) == 3
    peaks = record.enclosures["wet"].exchange[
        np.searchsorted(record.at_ms, [e.at_ms + MINUTE for e in opened])
    ]
    assert (peaks > 9.0).all()


def test_messages_come_in_order_and_complete() -> None:
    """All readings of all probes, each once, by time."""
    record = simulate(ROOM, START, START + DAY, seed=11)
    messages = list(record.messages())
    assert len(messages) == sum(len(told.at_ms) for told in record.readings.values())
    assert [m.at_ms for m in messages] == sorted(m.at_ms for m in messages)
    top = record.readings["wet", "top"]
    assert [m.humidity for m in messages if m.probe == "top"] == top.humidity.tolist()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"step_s": 0.0}, "step_s 0.0 must be positive"),
        ({"seed": -1}, "seed -1 not negative"),
        ({"start_ms": -1}, "start_ms -1"),
    ],
)
def test_a_simulation_that_cannot_run_is_refused(change: dict[str, Any], says: str) -> None:
    """Nonsense is named before anything runs."""
    with pytest.raises(ValueError, match=says):
        Simulator(**{"scenario": ROOM, "start_ms": START, "step_s": 60.0, "seed": 0, **change})
