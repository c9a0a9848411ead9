"""The story of mould and crew in a new build."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from monitor.simulation.colony import ColonyModel, inspections, run_colony

LISBON = ZoneInfo("Europe/Lisbon")
BUILT = round(dt.datetime(2026, 10, 1, 16, tzinfo=LISBON).timestamp() * 1000)
DAY = 86_400_000


def test_the_course_agrees_with_scipy() -> None:
    """Hourly steps follow the written equations to a hundredth of the surface."""
    model = ColonyModel()

    def slopes(_: float, state: np.ndarray) -> list[float]:
        mould, food, crew = state
        return [
            model.growth * food * mould * (1 - mould)
            - (model.fading + model.grazing * crew) * mould,
            -(model.use * mould + model.leaching) * food,
            model.breeding * crew * (1 - crew) * (0.15 + mould),
        ]

    days = np.arange(1, 61)
    other = solve_ivp(slopes, (0, 60), [model.mould, 1.0, model.crew], t_eval=days, rtol=1e-8)
    course = run_colony(model, 60)
    assert course.mould == pytest.approx(other.y[0], abs=0.01)
    assert course.food == pytest.approx(other.y[1], abs=0.01)
    assert course.crew == pytest.approx(other.y[2], abs=0.01)


def test_a_rich_build_blooms_and_clears() -> None:
    """Mould peaks in the second week and is gone in week three to six (common practice)."""
    course = run_colony(ColonyModel(), 60)
    peak = int(np.argmax(course.mould)) + 1
    assert 7 <= peak <= 14
    assert course.mould[peak - 1] > 0.3
    gone = peak + int(np.argmax(course.mould[peak:] < 0.01))
    assert 15 <= gone <= 42
    assert (course.mould[gone:] < 0.02).all()
    assert course.crew[-1] > 0.7


def test_a_poor_build_hardly_moulds() -> None:
    """With little food there is little mould, and the crew stays behind."""
    rich, poor = run_colony(ColonyModel(), 60), run_colony(ColonyModel(food=0.35), 60)
    assert poor.mould.max() < 0.1 * rich.mould.max()
    assert poor.crew[30] < rich.crew[30]


def test_without_crew_the_mould_stays() -> None:
    """Grazing is what ends the bloom: without it mould stands far longer."""
    grazed, alone = run_colony(ColonyModel(), 40), run_colony(ColonyModel(crew=0.0), 40)
    assert alone.mould[25] > 0.1 > grazed.mould[25]
    assert alone.crew.max() == 0.0


def test_a_keeper_writes_down_what_there_is() -> None:
    """One look a day at the same local time, cover 0 to 5 as the mould goes, crew more and more."""
    looks = inspections("drawer", ColonyModel(), LISBON, BUILT, BUILT + 40 * DAY)
    assert len(looks) == 40
    times = {dt.datetime.fromtimestamp(look.at_ms / 1000, LISBON).time() for look in looks}
    assert times == {dt.time(19, 10)}
    covers = [int(look.detail["mould_cover"]) for look in looks]
    assert covers[0] == 0
    assert max(covers) >= 3
    assert covers[-1] == 0
    seen = [bool(look.detail["springtails_seen"]) for look in looks]
    assert sum(seen[:8]) < 8
    assert all(seen[-15:])
    assert looks[0].detail["plants"] == "standing"
    assert looks[-1].detail["plants"] == "rooted"


def test_no_look_before_it_is_built() -> None:
    """A stretch that ends at once holds no inspection."""
    assert inspections("drawer", ColonyModel(), LISBON, BUILT, BUILT) == []
