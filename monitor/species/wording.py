"""Ranges and places in the words of a sentence."""

from collections.abc import Collection, Sequence

from monitor.quantities import Quantity, unit_of
from monitor.species.ranges import AMBIENT, Span, Zone

_SIGNS = {"Cel": "°C", "%RH": "%", "%": "%"}
_AIR = frozenset(AMBIENT)


def spelt(span: Span, quantity: Quantity) -> str:
    """A range as one says it: ``18 to 26 °C``."""
    return f"{span.low:g} to {span.high:g} {_SIGNS[unit_of(quantity)]}"


def difference(amount: float, quantity: Quantity) -> str:
    """How far two values are apart; of temperatures in K."""
    sign = _SIGNS[unit_of(quantity)]
    return f"{amount:g} {'K' if sign == '°C' else sign}"


def places(zones: Collection[Zone]) -> str:
    """Zones in a sentence; those that hold the air at large under one name."""
    if set(zones) >= _AIR:
        rest = [zone.value for zone in zones if zone not in _AIR]
        return listed(["all the air", *rest])
    return listed([zone.value for zone in zones])


def listed(things: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    *most, last = things
    return f"{', '.join(most)} and {last}" if most else last
