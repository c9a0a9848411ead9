"""Each fault does in the room what its name says, and nothing else."""

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.simulation import (
    EnclosureModel,
    Fault,
    FaultKind,
    HeatMat,
    Misting,
    ProbeModel,
    Record,
    Scenario,
    ZoneModel,
    simulate,
)

START = round(dt.datetime(2026, 11, 2, tzinfo=dt.UTC).timestamp() * 1000)
HOUR = 3_600_000
ONSET = START + 30 * HOUR
END = START + 48 * HOUR

BOX = EnclosureModel(
    id="box",
    zones=(
        ZoneModel("warm", lamp_k=3.0, mat_k=10.0),
        ZoneModel("cool", lamp_k=2.0, mat_k=3.0),
        ZoneModel("substrate", lamp_k=1.0, mat_k=4.0, tau_s=7200, near_substrate=0.8),
    ),
    mat=HeatMat("warm", 25.0),
    misting=(Misting(tuple(dt.time(h) for h in range(0, 24, 2)), seconds=10),),
    exchange=1.5,
    film_g=2.0,
)
CALM = Scenario(
    (BOX, replace(BOX, id="other")), (ProbeModel("box", "air", "warm"),), room_id="room"
)


def run(*faults: Fault) -> Record:
    """Two days of the box, minute by minute."""
    return simulate(replace(CALM, faults=faults), START, END, seed=12)


@pytest.fixture(scope="module")
def calm() -> Record:
    """The same two days without any fault."""
    return run()


def after(record: Record, hours: float = 6.0) -> int:
    """Index of the step that ends so many hours after the onset."""
    return int(np.searchsorted(record.at_ms, ONSET + hours * HOUR))


def warm(record: Record, what: str = "humidity") -> np.ndarray:
    """A column of the box's warm zone."""
    return np.asarray(getattr(record.enclosures["box"].zones["warm"], what))


@pytest.mark.parametrize(
    ("kind", "cause"),
    [
        ("mister_failure", "drying"),
        ("lid_open", "drying"),
        ("heat_mat_stuck_on", "warming"),
        ("lamp_stuck_on", "warming"),
        ("lamp_failure", None),
        ("room_heating_dry", "room"),
        ("room_dry_air", "room"),
        ("probe_drift", "probe"),
        ("probe_jump", "probe"),
        ("probe_stuck", "probe"),
        ("probe_unplugged", "probe"),
        ("broker_down", None),
    ],
)
def test_each_fault_knows_its_cause(kind: str, cause: str | None) -> None:
    """The cause is the project's word for why humidity falls."""
    assert Fault(FaultKind(kind), ONSET).cause == cause


def test_the_documentation_names_every_kind_with_its_usual_strength() -> None:
    """docs/simulation.md lists each fault; where a strength is given, it is the one used."""
    text = (Path(__file__).parents[2] / "docs" / "simulation.md").read_text(encoding="utf-8")
    for kind in FaultKind:
        row = next(line for line in text.splitlines() if f"`{kind}`" in line and "|" in line)
        told = re.search(r"\((-?[\d.]+)\)", row)
        assert told is None or float(told[1]) == Fault(kind, 0).amount


@pytest.mark.parametrize("kind", list(FaultKind))
def test_nothing_changes_before_the_onset_or_next_door(kind: FaultKind, calm: Record) -> None:
    """Until it begins, a fault has no effect; an enclosure's fault has none on another."""
    record = run(Fault(kind, ONSET, owner="box", probe="air"))
    before = after(calm, 0.0)
    assert np.array_equal(warm(record)[:before], warm(calm)[:before])
    if not kind.startswith("room"):
        here, there = (r.enclosures["other"].zones["cool"].humidity for r in (record, calm))
        assert np.array_equal(here, there)


def test_a_failed_mister_stops_the_water(calm: Record) -> None:
    """No mist and no event any more; humidity sinks, vapour lost at unchanged temperature."""
    record = run(Fault(FaultKind.MISTER_FAILURE, ONSET, owner="box"))
    hour = after(calm)
    misted = [e.at_ms for e in record.events if e.owner == "box" and e.kind == "misted"]
    assert max(misted) < ONSET
    assert warm(record)[hour] < warm(calm)[hour] - 10.0
    assert warm(record, "temperature")[hour] == pytest.approx(
        warm(calm, "temperature")[hour], abs=0.5
    )


def test_a_clogged_mister_gives_less(calm: Record) -> None:
    """With 60 % of the dose lost the mistings are still told, but bring 40 %."""
    record = run(Fault(FaultKind.MISTER_FAILURE, ONSET, owner="box", strength=0.6))
    first = after(calm, 0.0) - 1
    grams, whole = (
        r.enclosures["box"].water.misted_g[-1] - r.enclosures["box"].water.misted_g[first]
        for r in (record, calm)
    )
    assert grams == pytest.approx(0.4 * whole)
    assert len(record.events) == len(calm.events)


def test_an_open_lid_lets_room_air_in(calm: Record) -> None:
    """Exchange rises by the strength for as long as it is open; vapour falls towards the room's."""
    record = run(Fault(FaultKind.LID_OPEN, ONSET, ONSET + 2 * HOUR, "box", strength=20.0))
    added = record.enclosures["box"].exchange - calm.enclosures["box"].exchange
    hours = (calm.at_ms - ONSET) / HOUR
    during = (hours > 0) & (hours <= 2)
    assert added[during] == pytest.approx(20.0)
    assert added[~during] == pytest.approx(0.0)
    assert warm(record)[after(calm, 1.9)] < warm(calm)[after(calm, 1.9)] - 15.0


def test_a_stuck_mat_warms_and_so_dries(calm: Record) -> None:
    """The warm zone runs to the mat's full gain; hardly any of the humidity lost is vapour."""
    record = run(Fault(FaultKind.HEAT_MAT_STUCK_ON, ONSET, owner="box"))
    hour = after(calm, 3.9)
    assert warm(record, "temperature")[hour] > warm(calm, "temperature")[hour] + 4.0
    assert warm(record)[hour] < warm(calm)[hour] - 8.0
    vapour, before = (r.enclosures["box"].water.vapour_g_m3[hour] for r in (record, calm))
    lost = np.log(warm(calm)[hour] / warm(record)[hour])
    assert np.log(before / vapour) < 0.3 * lost


def test_lamps_stay_on_or_go_out(calm: Record) -> None:
    """Stuck on, it burns through the night and warms; failed, it is dark and cool by day."""
    stuck = run(Fault(FaultKind.LAMP_STUCK_ON, ONSET, owner="box"))
    dark = run(Fault(FaultKind.LAMP_FAILURE, ONSET, owner="box"))
    night, day = after(calm, 17.0), after(calm, 6.0)
    assert stuck.enclosures["box"].lamp[after(calm, 0.1) :].all()
    assert not dark.enclosures["box"].lamp[after(calm, 0.1) :].any()
    cool = [r.enclosures["box"].zones["cool"].temperature for r in (stuck, dark, calm)]
    # Two kelvin of lamp, less what the thermostat makes up for (its mat reaches this zone too).
    assert 0.5 < cool[0][night] - cool[2][night] < 2.1
    assert 0.5 < cool[2][day] - cool[1][day] < 2.1


@pytest.mark.parametrize("kind", [FaultKind.ROOM_HEATING_DRY, FaultKind.ROOM_DRY_AIR])
def test_a_dry_room_dries_all_enclosures(kind: FaultKind, calm: Record) -> None:
    """Every enclosure loses humidity when the room does."""
    record = run(Fault(kind, ONSET))
    for id_ in ("box", "other"):
        sick, well = (r.enclosures[id_].zones["cool"].humidity for r in (record, calm))
        assert sick[after(calm, 9.9)] < well[after(calm, 9.9)] - 2.0


def test_a_lying_probe_leaves_the_air_alone(calm: Record) -> None:
    """A drifting probe changes what is told, not what is."""
    record = run(Fault(FaultKind.PROBE_DRIFT, ONSET, owner="box", probe="air"))
    assert np.array_equal(warm(record), warm(calm))
    told, honest = record.readings["box", "air"].humidity, calm.readings["box", "air"].humidity
    assert told[-1] == pytest.approx(honest[-1] - 2.0 * 18, abs=0.2)


def test_a_broker_that_is_down_is_only_told(calm: Record) -> None:
    """It changes no truth and no reading."""
    record = run(Fault(FaultKind.BROKER_DOWN, ONSET))
    assert np.array_equal(
        record.readings["box", "air"].humidity, calm.readings["box", "air"].humidity
    )


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (Fault(FaultKind.LID_OPEN, 5, owner="shelf"), "owner 'shelf' is no enclosure"),
        (Fault(FaultKind.LID_OPEN, 5, owner="room"), "owner 'room' is no enclosure"),
        (Fault(FaultKind.PROBE_DRIFT, 5, owner="box", probe="x"), "no probe box/x"),
        (Fault(FaultKind.ROOM_DRY_AIR, 5, 5), "end_ms 5 must lie after 5"),
    ],
)
def test_a_fault_that_hits_nothing_is_refused(fault: Fault, says: str) -> None:
    """A scenario names the fault that fits none of its parts."""
    with pytest.raises(ValueError, match=says):
        replace(CALM, faults=(fault,))
