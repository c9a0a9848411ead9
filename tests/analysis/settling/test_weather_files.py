"""A year of weather as if it were an enclosure's climate: what drifts with the season is not even.

The files are those pvlib ships: Greensboro and Sand Point (TMY3) and Miami (TMY2), by the hour.
TMY3 and TMY2 join months of different years, so months may begin with a step.
"""

import csv
import datetime as dt
from collections.abc import Callable, Iterator
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pytest

from monitor.analysis.settling import Name, ProbeRecord, Result, Verdict, assess
from monitor.analysis.settling.climate import JUDGED, Climate, climates
from monitor.analysis.settling.days import Days
from monitor.analysis.settling.trend import trend_at
from monitor.quantities import Quantity
from monitor.setup.journal import Entry
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.species.settling import SettlingLimits
from monitor.times import HOUR_MS
from tests.analysis.settling.plain import BUILT_ON, at_ms, build, look, record

LIMITS = SettlingLimits()
UTC = ZoneInfo("UTC")
SPRING, AUTUMN = range(60, 152), range(244, 335)
"""Days of the year, as numbers of the day after the last one judged: March to May, September to
November."""


def data(name: str) -> Path:
    """Where pvlib keeps a file."""
    package = find_spec("pvlib")
    assert package is not None
    assert package.origin is not None
    return Path(package.origin).parent / "data" / name


def tmy3(name: str) -> npt.NDArray[np.float64]:
    """Temperature and humidity of a TMY3 file, by the hour."""
    with data(name).open(newline="") as file:
        next(file)
        rows = [(row["Dry-bulb (C)"], row["RHum (%)"]) for row in csv.DictReader(file)]
    return np.array(rows, dtype=np.float64)


def tmy2(name: str) -> npt.NDArray[np.float64]:
    """The same of a TMY2 file (fixed columns)."""
    lines = data(name).read_text().splitlines()[1:]
    return np.array([[int(line[67:71]) / 10, int(line[79:82])] for line in lines])


PLACES: dict[str, Callable[[], npt.NDArray[np.float64]]] = {
    "Greensboro": lambda: tmy3("723170TYA.CSV"),
    "Sand Point": lambda: tmy3("703165TY.csv"),
    "Miami": lambda: tmy2("12839.tm2"),
}


@cache
def weather(place: str) -> ProbeRecord:
    """A year of a place, as a probe in the canopy would have told it."""
    columns = PLACES[place]()
    assert columns.shape == (8760, 2)
    times = at_ms(0.0) + HOUR_MS * np.arange(8760)
    return record(times, columns[:, 0], columns[:, 1], period_s=3600.0)


@cache
def year(place: str) -> Climate:
    """Its climate."""
    days = Days.between(BUILT_ON, BUILT_ON + dt.timedelta(days=364), UTC)
    return climates([weather(place)], days)[Zone.CANOPY]


@cache
def evenness(place: str) -> dict[Quantity, list[bool]]:
    """For each morning of the year whether it was found even on the last days running."""
    found = {}
    for quantity in JUDGED:
        daily = year(place).daily(quantity)
        trends = [trend_at(daily, end, quantity, LIMITS) for end in range(366)]
        even = [trend is not None and trend.result is Result.PASS for trend in trends]
        running = LIMITS.running_days
        found[quantity] = [all(even[max(0, end - running + 1) : end + 1]) for end in range(366)]
    return found


@pytest.mark.slow
@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("season", [SPRING, AUTUMN], ids=["spring", "autumn"])
def test_no_season_that_drifts_is_even(place: str, season: range) -> None:
    """On no day of spring or autumn are temperature, humidity and vapour pressure all even."""
    found = evenness(place)

    assert not any(all(found[quantity][end] for quantity in JUDGED) for end in season)


@pytest.mark.slow
def test_a_quiet_stretch_is_even() -> None:
    """Miami's high summer: temperature even by the end of July, vapour pressure all August long."""
    found = evenness("Miami")

    assert any(found[Quantity.TEMPERATURE][203:214])
    assert all(found[Quantity.VAPOUR_PRESSURE][216:231])


def looked_after(first: int) -> Iterator[Entry]:
    """Looks that leave nothing to be wished for, at a build closed on a day of the year."""
    covers = {3: 0, 8: 3, 14: 1}
    return (look(first + day, covers.get(day, 0)) for day in (3, 8, 14, *range(20, 200, 5)))


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("first", "season"), [(1, SPRING), (185, AUTUMN)])
def test_such_a_build_is_never_settled(place: str, first: int, season: range) -> None:
    """Whatever its range and its life: every twelfth day of the season, the whole assessment."""
    anything = Spans(temperature=Span(low=-39, high=84), humidity=Span(low=0, high=100))
    ranges = {Zone.CANOPY: ZoneRange(day=anything, night=anything)}
    for day in season[::12]:
        found = assess(
            build(
                day + 0.5,
                [weather(place)],
                looked_after(first),
                ranges=ranges,
                built_on=BUILT_ON + dt.timedelta(days=first),
            )
        )

        assert found.verdict is not Verdict.SETTLED
        of_life = [each for each in found.criteria if each.name in (Name.MOULD, Name.PLANTS)]
        if day - first >= 45:
            assert {each.result for each in of_life} == {Result.PASS}
