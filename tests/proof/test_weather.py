"""A year of real weather, as if it were an enclosure: replayed through a broker, read at the API.

Input nobody here invented: the typical meteorological year of Greensboro NC that pvlib ships
(pvlib/data/723170TYA.CSV: hourly dry-bulb and dew point to 0.1 K, relative humidity to 1 %).
Second opinion: CoolProp.
"""

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pvlib
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

FILE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
START = int(dt.datetime(2026, 5, 1, tzinfo=dt.UTC).timestamp())
SETUP = """
    [[enclosure]]
    id = "outside"
    name = "Outside"
    probe = [{ id = "screen", zone = "canopy", period_s = 3600, silent_after_s = 999999999 }]
"""

Column = npt.NDArray[np.float64]


def weather() -> tuple[Column, Column, Column]:
    """Temperature, humidity and the file's own dew point; May and June of its typical year.

    Within six hours of a month's edge the file's columns come from different years and do not
    belong together; those hours are left out.
    """
    with FILE.open() as file:
        rows = list(csv.DictReader(file.readlines()[1:]))
    chosen = []
    for number, row in enumerate(rows):
        near = {rows[(number + off) % len(rows)]["Date (MM/DD/YYYY)"][:2] for off in (-6, 0, 6)}
        if near <= {"05", "06"} and len(near) == 1:
            chosen.append([float(row[k]) for k in ("Dry-bulb (C)", "RHum (%)", "Dew-point (C)")])
    temperature, humidity, dew_point = np.array(chosen).T
    return temperature, humidity, dew_point


@pytest.mark.slow
def test_a_season_of_weather(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Dew points read at the API agree with CoolProp to 0.01 K, and with the file's own.

    The file's rounding to 1 %RH and 0.1 K leaves up to 0.40 K, and 0.18 K for 95 of 100 hours.
    """
    temperature, humidity, given = weather()
    hours = len(temperature)
    assert hours > 1_300
    daemon = RunningDaemon(
        tmp_path, mosquitto.port, setup=SETUP, more="[judge]\nmax_step = { humidity = 100 }\n"
    ).start()
    daemon.wait_ready()
    try:
        with Publisher(mosquitto.port) as publisher:
            publisher.send_all(
                ("dewkeep/outside/screen", senml(START + 3600 * n, temperature[n], humidity[n]))
                for n in range(hours)
            )

        def series(quantity: str) -> list[list[float]]:
            answer = daemon.get(
                "/enclosures/outside/series",
                probe="screen",
                quantity=quantity,
                **{"from": "2026-05-01T00:00:00Z", "to": "2026-12-31T00:00:00Z"},
                points=10_000,
            )
            assert answer["resolution_s"] == 0
            points: list[list[float]] = answer["points"]
            return points

        eventually(lambda: len(series("temperature")) == hours, "all hours")
        derived = {
            quantity: np.array([mean for _, mean, *_ in series(quantity)])
            for quantity in ("dew_point", "vapour_pressure_deficit", "mixing_ratio")
        }
    finally:
        daemon.close()

    state = [("T", t + 273.15, "R", h / 100) for t, h in zip(temperature, humidity, strict=True)]
    dew_point = np.array([HAPropsSI("Tdp", *s, "P", 101_325) - 273.15 for s in state])
    mixing_ratio = np.array([1000 * HAPropsSI("W", *s, "P", 101_325) for s in state])
    above = dew_point >= 0
    assert above.mean() > 0.95
    assert np.abs(derived["dew_point"] - dew_point)[above].max() < 0.01
    # CoolProp's air holds 0.4 to 0.5 % more vapour: the enhancement factor we leave out.
    assert np.abs(derived["mixing_ratio"] / mixing_ratio - 1).max() < 0.007
    off = np.abs(derived["dew_point"] - given)[given >= 0]
    assert off.max() <= 0.40
    assert np.percentile(off, 95) <= 0.18
