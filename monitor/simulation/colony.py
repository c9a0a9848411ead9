"""Mould and the clean-up crew in a new build, as a story in three numbers per day.

A fresh build is food (leaf litter, wood, uneaten fruit). Mould M (share of the surface) grows on
it, the crew C (share of what the build can feed) grows on the mould and grazes it, the food F is
used up:

    dM/dt = growth F M (1 - M) - (fading + grazing C) M
    dF/dt = -(use M + leaching) F
    dC/dt = breeding C (1 - C) (0.15 + M)

Logistic growth, grazing in proportion: our own choice, set so that a tropical build blooms in its
second week and is clean after four to six weeks (common practice, no source).
"""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from monitor.simulation import wall_clock
from monitor.simulation.courses import Column
from monitor.simulation.record import Event

COVER_FROM = (0.01, 0.05, 0.15, 0.35, 0.65)
"""Shares of the surface from which a keeper writes down cover 1, 2, 3, 4 and 5 (own choice)."""

STEPS_A_DAY = 24


@dataclass(frozen=True, slots=True)
class ColonyModel:
    """A build's biology; rates per day."""

    food: float = 1.0
    mould: float = 0.004
    crew: float = 0.02
    growth: float = 1.0
    fading: float = 0.1
    grazing: float = 1.2
    use: float = 0.25
    leaching: float = 0.02
    breeding: float = 0.45
    roots_after_days: float = 21.0
    """When plants are found rooted."""


@dataclass(frozen=True, slots=True)
class ColonyCourse:
    """State at the end of each day after building."""

    mould: Column
    food: Column
    crew: Column


def run_colony(model: ColonyModel, days: int) -> ColonyCourse:
    """The course over that many days (Euler, hourly)."""
    mould, food, crew = model.mould, model.food, model.crew
    share = 1.0 / STEPS_A_DAY
    ends = np.empty((3, days))
    for day in range(days):
        for _ in range(STEPS_A_DAY):
            grown = model.growth * food * mould * (1.0 - mould)
            lost = (model.fading + model.grazing * crew) * mould
            eaten = (model.use * mould + model.leaching) * food
            bred = model.breeding * crew * (1.0 - crew) * (0.15 + mould)
            mould += share * (grown - lost)
            food -= share * eaten
            crew += share * bred
        ends[:, day] = mould, food, crew
    return ColonyCourse(*ends)


def inspections(
    owner: str,
    model: ColonyModel,
    clock: ZoneInfo,
    built_ms: int,
    end_ms: int,
    at: dt.time = dt.time(19, 10),
    every_days: int = 1,
    seed: int = 0,
) -> list[Event]:
    """What a keeper writes down who looks at the build every so many days.

    Crew is seen by luck: the more there is, the more surely.
    """
    looks = wall_clock.occurrences((at,), clock, built_ms, end_ms)[::every_days]
    if not looks:
        return []
    days = [(look - built_ms) / (1000 * wall_clock.DAY_S) for look in looks]
    course = run_colony(model, int(days[-1]) + 1)
    luck = np.random.default_rng([seed, built_ms // 1000])
    told = []
    for look, day in zip(looks, days, strict=True):
        mould, crew = float(course.mould[int(day)]), float(course.crew[int(day)])
        detail: dict[str, float | bool | str] = {
            "mould_cover": int(np.searchsorted(COVER_FROM, mould, side="right")),
            "springtails_seen": bool(luck.random() < 1.0 - np.exp(-8.0 * crew)),
            "isopods_seen": bool(luck.random() < 1.0 - np.exp(-2.5 * crew)),
            "plants": "rooted" if day >= model.roots_after_days else "standing",
        }
        told.append(Event(look, owner, "inspection", detail))
    return told
