"""The criterion of mould: seen to come, to go, and to stay away. Only a keeper's looks can tell."""

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import ONE_DAY
from monitor.analysis.settling.wording import count, on_date
from monitor.species.settling import SettlingLimits

RELAPSE_COVER = 2
"""Cover that at one look undoes a settled build; less must be seen at two looks in a row."""


class Look(NamedTuple):
    """What one look found: the cover, 0 to 5."""

    date: dt.date
    cover: int


class Finding(NamedTuple):
    """What the looks amount to, and the first day on which they could suffice."""

    result: Result
    says: str
    earliest: dt.date | None = None


def mould(
    looks: Sequence[Look], built_on: dt.date, today: dt.date, limits: SettlingLimits
) -> Criterion:
    """Whether mould has come, gone, and stayed away; ``looks`` are in order, none before it."""
    found = _finding(looks, built_on, today, limits)
    return Criterion(
        name=Name.MOULD,
        zone=None,
        quantity=None,
        value=float(looks[-1].cover) if looks else None,
        unit=None,
        required=(
            f"risen, fallen, and none at {count(limits.clean_looks, 'look')} or more over "
            f"{count(limits.clean_days, 'day')}; or never seen in {limits.no_bloom_days} days"
        ),
        result=found.result,
        says=f"Mould: {found.says}.",
        earliest=found.earliest,
        relapsed=_is_relapse(looks),
    )


def _is_relapse(looks: Sequence[Look]) -> bool:
    covers = [look.cover for look in looks[-2:]]
    return bool(covers) and (covers[-1] >= RELAPSE_COVER or (len(covers) == 2 and min(covers) > 0))


def _finding(
    looks: Sequence[Look], built_on: dt.date, today: dt.date, limits: SettlingLimits
) -> Finding:
    at_best = today + limits.clean_days * ONE_DAY
    if not looks:
        return Finding(Result.UNKNOWN, "nobody has looked for it yet; a look is due", at_best)
    last = looks[-1]
    highest = max(look.cover for look in looks)
    if last.cover > 0:
        says = f"cover {last.cover} of 5 on {on_date(last.date)}"
        before = _highest_of_late(looks, limits)
        if last.cover < before and last.cover <= looks[-2].cover:
            return Finding(Result.FAIL, f"{says}, down from {before}", at_best)
        return Finding(Result.FAIL, f"{says}, not falling yet")
    if highest > 0:
        says, days = f"cover was up to {highest}", limits.clean_days
        clean = _clean_run(looks)
        since = clean[0].date
    else:
        says, days = "never seen", limits.no_bloom_days
        clean = _regular_run(looks, limits)
        is_whole = clean == looks and clean[0].date - built_on <= limits.look_every_days * ONE_DAY
        since = built_on if is_whole else clean[0].date
    says = f"{says}, none at {count(len(clean), 'look')} since {on_date(clean[0].date)}"
    due = since + days * ONE_DAY
    if len(clean) < limits.clean_looks or last.date < due:
        due = max(due, today)
        return Finding(Result.UNKNOWN, f"{says}; a look on {on_date(due)} could settle it", due)
    if today - last.date > limits.look_every_days * ONE_DAY:
        return Finding(
            Result.UNKNOWN, f"{says}, the last on {on_date(last.date)}; a look is due", today
        )
    return Finding(Result.PASS, says)


def _highest_of_late(looks: Sequence[Look], limits: SettlingLimits) -> int:
    """The highest cover of the last two turns of looking: mould that stays is not falling."""
    since = looks[-1].date - 2 * limits.look_every_days * ONE_DAY
    return max(look.cover for look in looks if look.date >= since)


def _clean_run(looks: Sequence[Look]) -> Sequence[Look]:
    """The last looks in a row that found none."""
    start = len(looks)
    while start and looks[start - 1].cover == 0:
        start -= 1
    return looks[start:]


def _regular_run(looks: Sequence[Look], limits: SettlingLimits) -> Sequence[Look]:
    """The last looks in a row that lie no further apart than a bloom could be missed in."""
    start = len(looks) - 1
    longest = limits.look_every_days * ONE_DAY
    while start and looks[start].date - looks[start - 1].date <= longest:
        start -= 1
    return looks[start:]
