"""The parts of the year in which a company needs the same."""

import datetime as dt
from collections.abc import Iterable, Iterator

from monitor.species.profile import ALL_YEAR, Profile

Months = tuple[int, ...]


def periods(profiles: Iterable[Profile]) -> list[Months]:
    """The months of the year, grouped by which seasons of which inhabitants hold in them."""
    seasons = [season for each in profiles for season in each.season]
    grouped: dict[tuple[bool, ...], list[int]] = {}
    for month in sorted(ALL_YEAR):
        holds = tuple(month in season.months for season in seasons)
        grouped.setdefault(holds, []).append(month)
    return [tuple(months) for months in grouped.values()]


def through_the_year(
    profiles: Iterable[Profile], on_date: dt.date
) -> Iterator[tuple[dt.date, Months]]:
    """A day of each such period, with its months; the day asked for is the first."""
    grouped = sorted(periods(profiles), key=lambda months: on_date.month not in months)
    for months in grouped:
        here = on_date.month in months
        yield (on_date if here else dt.date(on_date.year, months[0], 1)), months
