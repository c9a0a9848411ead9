"""Time zones by their name in the IANA list."""

from functools import cache
from typing import Annotated
from zoneinfo import available_timezones

from pydantic import AfterValidator

from monitor.documents.problems import hint


def known_zone(value: str) -> str:
    """The name of a time zone.

    Raises:
        ValueError: there is none of that name.
    """
    if value not in _timezones():
        raise ValueError(
            f"{value!r} is no IANA time zone, such as Europe/Lisbon{hint(value, _timezones())}"
        )
    return value


@cache
def _timezones() -> frozenset[str]:
    return frozenset(available_timezones())


TimeZone = Annotated[str, AfterValidator(known_zone)]
