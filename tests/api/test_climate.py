"""Climate now and series: what comes out is what went in, and what follows from it."""

import math

import httpx
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from monitor.quantities import Quantity
from monitor.store.readings import SeriesKey
from tests.support.house import NOW_MS, House

CUBE = "/api/v1/enclosures/cork-cube"


def test_the_climate_now(house: House) -> None:
    """Measured values as they came; derived ones by CoolProp (dew point 0.01 K)."""
    house.take("canopy", NOW_MS - 10_000, 24.5, 63.2)

    canopy, floor = house.http.get(f"{CUBE}/climate").json()["probes"]

    assert canopy["at"] == "2026-11-25T09:46:30Z"
    assert canopy["humidity"] == {"value": 63.2, "unit": "%RH", "quality": "good"}
    by_coolprop = HAPropsSI("Tdp", "T", 297.65, "R", 0.632, "P", 101_325) - 273.15
    assert canopy["dew_point"]["value"] == pytest.approx(by_coolprop, abs=0.01)
    assert set(canopy["forecast"]) == {"low", "high"}
    assert floor["at"] is None
    assert "humidity" not in floor


def test_a_reading_that_is_not_believed_says_so(house: House) -> None:
    """An impossible jump is shown, as suspect, and what is derived from it is suspect too."""
    house.take("canopy", NOW_MS - 60_000, 24.5, 63.2)
    house.take("canopy", NOW_MS - 30_000, 60.0, 63.2)

    canopy, _ = house.http.get(f"{CUBE}/climate").json()["probes"]

    assert canopy["temperature"] == {"value": 60.0, "unit": "Cel", "quality": "suspect"}
    assert canopy["dew_point"]["quality"] == "suspect"


def test_a_short_series_is_raw_and_a_long_one_keeps_its_extremes(house: House) -> None:
    """However few points are asked for, the one spike among 10,000 readings is in them."""
    at_ms = [NOW_MS - 30_000 * n for n in range(10_000)]
    values = [20 + math.sin(n / 100) for n in range(10_000)]
    values[4321] = 31.5
    house.backfill(SeriesKey("cork-cube", "canopy", Quantity.TEMPERATURE), at_ms, values)
    ask = {"probe": "canopy", "quantity": "temperature"}

    short = house.http.get(f"{CUBE}/series", params=ask | {"from": "2026-11-25T09:40:00Z"}).json()
    long = house.http.get(
        f"{CUBE}/series", params=ask | {"from": "2026-11-20T00:00:00Z", "points": 100}
    ).json()

    assert short["resolution_s"] == 0
    assert short["columns"] == ["at", "mean", "min", "max", "count"]
    assert short["points"][-1][0] < NOW_MS
    assert long["resolution_s"] > 0
    assert len(long["points"]) <= 100
    assert max(high for *_, high, _count in long["points"]) == 31.5
    assert sum(count for *_, count in long["points"]) >= 9_999


@pytest.mark.parametrize(
    ("params", "status", "says"),
    [
        ({"probe": "attic", "quantity": "humidity"}, 404, "no probe 'attic'"),
        ({"probe": "canopy", "quantity": "smell"}, 422, "quantity"),
        ({"probe": "canopy", "quantity": "humidity", "from": "yesterday"}, 422, "from"),
        ({"probe": "canopy", "quantity": "humidity", "from": "2026-11-25T09:00:00"}, 422, "offset"),
        (
            {"probe": "canopy", "quantity": "humidity", "from": "2030-01-01T00:00:00Z"},
            422,
            "before",
        ),
        ({"probe": "canopy", "quantity": "humidity", "points": 0}, 422, "points"),
        ({"quantity": "humidity"}, 422, "probe"),
    ],
)
def test_a_wrong_question_is_told_what_is_wrong(
    http: httpx.Client, params: dict[str, str], status: int, says: str
) -> None:
    """Each mistake is named in a problem document."""
    answer = http.get(f"{CUBE}/series", params=params)

    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert says in answer.json()["detail"]


def test_no_such_enclosure(http: httpx.Client) -> None:
    """An unknown enclosure is a 404 everywhere."""
    for path in ("climate", "journal", "series?probe=a&quantity=humidity"):
        assert http.get(f"/api/v1/enclosures/nowhere/{path}").status_code == 404
