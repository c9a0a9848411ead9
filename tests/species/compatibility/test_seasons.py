"""The parts of the year."""

import datetime as dt

from monitor.species.compatibility.seasons import periods, through_the_year
from monitor.species.library import load_library

LIBRARY = load_library()


def test_every_month_belongs_to_one_period() -> None:
    """Two seasons that overlap make more periods; no month is left out or counted twice."""
    company = [LIBRARY.profile(each) for each in ("haworthia", "agalychnis-callidryas")]

    found = periods(company)

    assert found == [(1, 2, 12), (3,), (4, 5, 6, 7, 8, 9, 10), (11,)]
    assert periods([LIBRARY.profile("ficus-pumila")]) == [tuple(range(1, 13))]


def test_the_day_asked_for_comes_first() -> None:
    """It stands for its own period; the others are stood for by the first of a month."""
    company = [LIBRARY.profile("haworthia")]
    on_date = dt.date(2027, 12, 24)

    found = list(through_the_year(company, on_date))

    assert found == [
        (on_date, (1, 2, 11, 12)),
        (dt.date(2027, 3, 1), (3, 4, 5, 6, 7, 8, 9, 10)),
    ]
