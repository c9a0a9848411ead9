"""Random rooms, enclosures and probes, within what keepers build (spans are our own choice)."""

import datetime as dt

import numpy as np

from monitor.simulation.models import (
    ROOM,
    EnclosureModel,
    Heating,
    HeatMat,
    Misting,
    Opening,
    ProbeModel,
    RoomModel,
    ZoneModel,
)


def random_room(rng: np.random.Generator) -> RoomModel:
    """A room of a dwelling, with or without heating hours."""
    hours = (6 + int(rng.integers(3)), 17 + int(rng.integers(3)))
    heating = tuple(
        Heating(dt.time(hour), dt.time(hour + int(rng.integers(2, 5))), rng.uniform(0.5, 2.0))
        for hour in hours[: int(rng.integers(3))]
    )
    return RoomModel(
        temperature=rng.uniform(18.0, 23.0),
        daily_k=rng.uniform(0.3, 1.3),
        weather_k=rng.uniform(0.3, 1.2),
        unrest_k=rng.uniform(0.05, 0.25),
        vapour_pressure=rng.uniform(0.75, 1.4),
        daily_kpa=rng.uniform(0.01, 0.05),
        weather_kpa=rng.uniform(0.04, 0.14),
        unrest_kpa=rng.uniform(0.008, 0.025),
        heating=heating,
    )


def random_tank(
    rng: np.random.Generator, id_: str, *, long: bool | None = None, misted: bool = False
) -> EnclosureModel:
    """An enclosure, tall (canopy over floor) or long (warm side on a mat, cool side).

    ``long`` asks for one of the two (default: either), ``misted`` makes sure of a mister; the tall
    always have one, the long sometimes.
    """
    if long is None:
        long = bool(rng.random() < 0.35)
    zones = _long_zones(rng) if long else _tall_zones(rng)
    misted = misted or not long or bool(rng.random() < 0.4)
    lights_on = int(rng.integers(6, 11))
    volume_m3 = float(np.exp(rng.uniform(np.log(0.03), np.log(0.3))))
    return EnclosureModel(
        id=id_,
        zones=zones,
        volume_m3=volume_m3,
        lights_on=dt.time(lights_on),
        lights_off=dt.time(lights_on + int(rng.integers(10, 13))),
        mat=HeatMat("warm", rng.uniform(25.0, 28.0), rng.uniform(22.0, 25.0)) if long else None,
        misting=(_misting(rng, volume_m3),) if misted else (),
        opening=Opening(dt.time(int(rng.integers(17, 21))), chance=rng.uniform(0.2, 0.8)),
        exchange=float(np.exp(rng.uniform(np.log(0.4), np.log(2.5)))),
        exchange_per_k=rng.uniform(0.0, 0.15),
        kappa=rng.uniform(0.3, 1.2),
        substrate_g=1000 * volume_m3 * rng.uniform(1.5, 4.0),
        film_kappa=rng.uniform(4.0, 10.0),
        film_g=30 * volume_m3 * rng.uniform(0.3, 1.5),
        film_breaks_g=30 * volume_m3 * rng.uniform(0.2, 0.5),
        airborne=rng.uniform(0.01, 0.08),
        wall_coolness=rng.uniform(0.1, 0.5),
        transpiration=rng.uniform(0.0, 0.3),
        start_humidity=rng.uniform(50.0, 85.0),
        start_substrate=rng.uniform(0.4, 1.0),
    )


def random_probes(
    rng: np.random.Generator, tank: EnclosureModel, count: int, room_id: str | None
) -> tuple[ProbeModel, ...]:
    """``count`` probes in an enclosure, from the top down, and one in the room if it has an id."""
    places = [(tank.id, zone.name) for zone in tank.zones[:count]]
    if room_id is not None:
        places.append((room_id, ROOM))
    period_s = float(rng.choice([30.0, 60.0, 120.0]))
    return tuple(
        ProbeModel(
            owner,
            zone,
            zone,
            period_s=period_s,
            temperature_noise=rng.uniform(0.02, 0.08),
            humidity_noise=rng.uniform(0.1, 0.5),
            temperature_offset=rng.uniform(-0.3, 0.3),
            humidity_offset=rng.uniform(-2.0, 2.0),
            humidity_drift=rng.uniform(-0.05, 0.05),
            temperature_lag_s=rng.uniform(20.0, 180.0),
            humidity_lag_s=rng.uniform(10.0, 120.0),
            dropout=rng.uniform(0.0, 0.01),
        )
        for owner, zone in places
    )


def _tall_zones(rng: np.random.Generator) -> tuple[ZoneModel, ...]:
    lamp_k = rng.uniform(2.0, 5.0)
    offset_k = rng.uniform(0.5, 2.5)
    dip = rng.uniform(0.0, 0.05)
    return (
        ZoneModel("canopy", lamp_k, 0.0, offset_k, rng.uniform(900, 2400), 0.0, dip),
        ZoneModel(
            "floor",
            lamp_k * rng.uniform(0.4, 0.7),
            0.0,
            offset_k * rng.uniform(0.6, 0.9),
            rng.uniform(1800, 4200),
            rng.uniform(0.1, 0.4),
            0.7 * dip,
        ),
        ZoneModel(
            "substrate",
            lamp_k * rng.uniform(0.2, 0.4),
            0.0,
            offset_k * rng.uniform(0.4, 0.8),
            rng.uniform(7200, 14400),
            rng.uniform(0.6, 0.9),
        ),
    )


def _long_zones(rng: np.random.Generator) -> tuple[ZoneModel, ...]:
    lamp_k = rng.uniform(1.0, 4.0)
    mat_k = rng.uniform(8.0, 14.0)
    offset_k = rng.uniform(0.3, 1.5)
    return (
        ZoneModel("warm", lamp_k, mat_k, offset_k, rng.uniform(1200, 2400)),
        ZoneModel("cool", 0.8 * lamp_k, mat_k * rng.uniform(0.2, 0.4), offset_k, 2400),
        ZoneModel(
            "substrate",
            0.4 * lamp_k,
            mat_k * rng.uniform(0.3, 0.5),
            0.7 * offset_k,
            rng.uniform(7200, 14400),
            rng.uniform(0.4, 0.8),
        ),
    )


def _misting(rng: np.random.Generator, volume_m3: float) -> Misting:
    """Four to twelve mistings a day, each of 10 to 80 g of water per cubic metre."""
    count = int(rng.integers(4, 13))
    first = rng.uniform(0.0, 24.0 / count)
    minutes = [round(60 * (first + number * 24.0 / count)) % 1440 for number in range(count)]
    seconds = float(rng.integers(4, 31))
    return Misting(
        tuple(dt.time(minute // 60, minute % 60) for minute in minutes),
        seconds=seconds,
        dose_g_per_s=volume_m3 * rng.uniform(10.0, 80.0) / seconds,
        spread=rng.uniform(0.0, 0.2),
    )
