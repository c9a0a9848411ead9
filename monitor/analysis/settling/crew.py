"""The criteria of life in the build: springtails and isopods seen, plants rooted."""

import datetime as dt
from collections.abc import Sequence

from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import ONE_DAY
from monitor.analysis.settling.wording import count, on_date
from monitor.species.settling import SettlingLimits

FEWEST_LOOKS = 3
"""Animals this small are seen by luck: only so many looks in vain make them count as missing."""


def crew(
    name: Name,
    looks: Sequence[tuple[dt.date, bool]],
    today: dt.date,
    limits: SettlingLimits,
) -> Criterion:
    """Whether springtails or isopods were seen of late; ``looks`` in order, when and whether."""
    recent = [(date, seen) for date, seen in looks if _is_recent(date, today, limits)]
    sightings = [date for date, seen in recent if seen]
    missed = len(recent) >= FEWEST_LOOKS and not sightings
    title = name.value.capitalize()
    span = count(limits.crew_days, "day")
    if sightings:
        result, says = Result.PASS, f"{title}: seen on {on_date(sightings[-1])}."
    elif missed:
        says = f"{title}: not seen at {count(len(recent), 'look')} in the last {span}."
        result = Result.FAIL
    else:
        looked = f"not seen at {count(len(recent), 'look')}" if recent else "nobody has looked"
        says = f"{title}: {looked} in the last {span}; a look is due."
        result = Result.UNKNOWN
    return Criterion(
        name=name,
        zone=None,
        quantity=None,
        value=float(len(sightings)) if recent else None,
        unit=None,
        required=f"seen in the last {span}",
        result=result,
        says=says,
        earliest=today if result is Result.UNKNOWN else None,
        relapsed=missed,
    )


def plants(
    looks: Sequence[tuple[dt.date, str]], today: dt.date, limits: SettlingLimits
) -> Criterion:
    """Whether the plants were found rooted of late; ``looks`` tell their state, in order."""
    recent = [each for each in looks if _is_recent(each[0], today, limits)]
    state = recent[-1][1] if recent else None
    result, says = {
        "rooted": (Result.PASS, "rooted"),
        "wilting": (Result.FAIL, "wilting"),
        "standing": (Result.UNKNOWN, "standing, not yet found rooted; try a gentle pull"),
        None: (
            Result.UNKNOWN,
            f"nobody has looked in the last {count(limits.crew_days, 'day')}; a look is due",
        ),
    }[state]
    when = f" on {on_date(recent[-1][0])}" if recent else ""
    return Criterion(
        name=Name.PLANTS,
        zone=None,
        quantity=None,
        value=None,
        unit=None,
        required=f"found rooted in the last {count(limits.crew_days, 'day')}",
        result=result,
        says=f"Plants{when}: {says}.",
        earliest=today if result is Result.UNKNOWN else None,
        relapsed=state == "wilting",
    )


def _is_recent(date: dt.date, today: dt.date, limits: SettlingLimits) -> bool:
    return today - date <= limits.crew_days * ONE_DAY
