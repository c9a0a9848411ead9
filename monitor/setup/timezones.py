"""Time zones by their name in the IANA list."""

from functools import cache
from typing import Annotated
from zoneinfo import available_timezones

from pydantic import AfterValidator

from monitor.documents.problems import hint


def _known(value: str) -> str:
    if value not in _timezones():
        raise ValueError(
            f"{value!r} is no IANA time zone, such as Europe/Lisbon{hint(value, _timezones())}"
        )
    return value


@cache
def _timezones() -> frozenset[str]:
    return frozenset(available_timezones())


TimeZone = Annotated[str, AfterValidator(_known)]
