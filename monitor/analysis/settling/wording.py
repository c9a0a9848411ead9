"""Plain words for a keeper."""

import datetime as dt
from zoneinfo import ZoneInfo

from monitor.quantities import Quantity, unit_of
from monitor.species.ranges import Zone

WORDS = {
    Quantity.TEMPERATURE: "temperature",
    Quantity.HUMIDITY: "humidity",
    Quantity.VAPOUR_PRESSURE: "vapour pressure",
}

_DECIMALS = {
    Quantity.TEMPERATURE: 2,
    Quantity.HUMIDITY: 2,
    Quantity.VAPOUR_PRESSURE: 4,
}


def topic(zone: Zone, quantity: Quantity) -> str:
    """The beginning of a sentence: what it is about."""
    return f"{zone}: {WORDS[quantity]}"


def signed(value: float, quantity: Quantity) -> str:
    """A change with its sign, such as ``+0.12``."""
    return f"{value:+.{_DECIMALS[quantity]}f}"


def difference(quantity: Quantity) -> str:
    """The unit of a difference."""
    return "K" if quantity is Quantity.TEMPERATURE else unit_of(quantity)


def sign(quantity: Quantity) -> str:
    """The unit of a value as a keeper writes it."""
    return "°C" if quantity is Quantity.TEMPERATURE else unit_of(quantity)


def count(number: int, noun: str) -> str:
    """A number of things: ``1 day``, ``3 days``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def on_date(date: dt.date) -> str:
    """A date such as ``3 October``."""
    return f"{date.day} {date:%B}"


def at_time(at_ms: int, clock: ZoneInfo) -> str:
    """A local time such as ``3 October 14:05``."""
    local = dt.datetime.fromtimestamp(at_ms / 1000, clock)
    return f"{on_date(local.date())} {local:%H:%M}"
