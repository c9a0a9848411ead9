"""The page's English: every word that is not a name or a number, in one place.

The sentence of an alarm comes from ``monitor.alarms.wording``, that of a quality from
``monitor.quality``; headings and longer texts that never change stand in the templates.
"""

from collections.abc import Sequence

from monitor.alarms.model import Condition
from monitor.quantities import Quantity
from monitor.setup.models import Zone

ZONES = {
    Zone.CANOPY: "canopy",
    Zone.BASKING: "basking spot",
    Zone.WARM: "warm side",
    Zone.COOL: "cool side",
    Zone.FLOOR: "floor",
    Zone.SUBSTRATE: "substrate",
    Zone.ROOM: "room",
}
TOP_DOWN = tuple(ZONES)
"""The zones in the order in which they are shown."""
QUANTITIES = {
    Quantity.HUMIDITY: "humidity",
    Quantity.TEMPERATURE: "temperature",
    Quantity.SUBSTRATE_MOISTURE: "moisture",
    Quantity.SURFACE_TEMPERATURE: "surface",
    Quantity.ILLUMINANCE: "light",
}
"""Measured quantities, in the order in which they are shown."""
SIGNS = {"Cel": "°C", "%RH": "%", "%": "%", "lx": "lx"}
AIR = {Quantity.TEMPERATURE: ("°C", 1), Quantity.HUMIDITY: ("%", 0)}
"""What is told of a room's air, with its sign and the digits after the point."""
ROOM_AIR = "{}, air {}"

BEYOND = {
    Quantity.HUMIDITY: ("too dry", "too damp"),
    Quantity.TEMPERATURE: ("too cold", "too warm"),
    Quantity.SUBSTRATE_MOISTURE: ("too dry", "too wet"),
    Quantity.SURFACE_TEMPERATURE: ("too cold", "too hot"),
}
"""What a value below its range is called, and one above it."""
FAR = "far {}"
"""Beyond a critical limit."""
SILENT = "silent"
IN_RANGE = "in range"
NO_RANGE = "no range now"
IN_DOUBT = "in doubt: {}"
LAST_HEARD = "last heard at {}"
RANGE = "{}\N{EN DASH}{} {}"

SINCE = "{0} since {1}"
WAS = "Was {0}, is over"
SEEN_BY = "Seen at {} by {}."
SHELVED_UNTIL = "Set aside until {}."
OUT_OF_SERVICE = "Out of service."

IN_RANGE_TITLE = "In range"
SLIPPED_TITLE = "Out of range, no alarm yet"
SLIPPED = "{} {} is {}"
SLIPPED_SAYS = "{}. An alarm follows if it stays so."
QUIET_TITLE = "Nothing to rely on"
QUIET = "What is shown is old or in doubt. An alarm follows if a probe stays silent."
NOT_JUDGED_TITLE = "Nothing to compare with"
NOT_JUDGED = "Say in the set-up who lives in it, or what range each zone should keep."
NO_PROBE_TITLE = "No probe yet"
NO_PROBE = "Give it one in the set-up: [[enclosure.probe]], with an id and a zone."
UNHEARD_TITLE = "Nothing heard yet"
UNHEARD = "nothing heard yet; it should publish on dewkeep/{}/{}"

ONE_OF = "{} (probe {})"
"""One of several probes in a zone."""
SEVERAL = "{} \N{MULTIPLICATION SIGN} {}"
BETWEEN = " · "
NOBODY = "no inhabitants named yet"
LIGHTS = {True: "lights on", False: "lights off"}

RIBBON = "Humidity, {}, last 24 hours"
HELD = "{} humidity {}: {} to {} %, {} around {}."
STRAYED = "{} humidity {}: {} to {} %, {} around {}; outside its range for about {}."
DRIEST, DAMPEST = "driest", "dampest"
NIGHT_OVER = "last night"
NIGHT_NOW = "tonight so far"
A_DAY = "in the last 24 hours"
MISTINGS = "Misted at {}."
FOR_SECONDS = "{} for {:.0f} s"

NO_BROKER = "No connection to the broker, so nothing new can come in: {}."
NO_STORE = "Readings cannot be stored, so they are held back: {}."
NO_LOOP = "dewkeep has stopped taking readings in. Restart it; its log tells why."
NOTHING_YET = "No enclosures yet."
MOST_NAMES = 4
"""How many places the first sentence names; it must stay one."""


def condition(quantity: Quantity | None, what: Condition) -> str:
    """What is the matter, in two or three words."""
    if quantity is None:
        return SILENT
    low, high = BEYOND[quantity]
    match what:
        case Condition.CRITICAL_LOW:
            return FAR.format(low)
        case Condition.CRITICAL_HIGH:
            return FAR.format(high)
        case Condition.HIGH:
            return high
        case _:
            return low


def capital(text: str) -> str:
    """Text that begins a sentence."""
    return text[:1].upper() + text[1:]


def listed(things: Sequence[str]) -> str:
    """Things in a sentence: "a", "a and b", "a, b and c"."""
    *most, last = things
    return f"{', '.join(most)} and {last}" if most else last


def _named(places: Sequence[str]) -> str:
    """The first few by name, the rest by number."""
    if len(places) <= MOST_NAMES:
        return listed(places)
    return listed([*places[: MOST_NAMES - 1], f"{len(places) - MOST_NAMES + 1} more"])


def headline(count: int, calling: Sequence[str], back: Sequence[str], seen: Sequence[str]) -> str:
    """The first sentence: how many enclosures, and which needs a hand.

    Args:
        count: how many enclosures there are.
        calling: names of places with an alarm that nobody has seen.
        back: names of places whose alarm ended before anybody saw it.
        seen: names of places whose alarm stands and was seen or set aside.
    """
    if not count and not (calling or back or seen):
        return NOTHING_YET
    enclosures = "1 enclosure" if count == 1 else f"{count} enclosures"
    if calling:
        verb = "needs" if len(calling) == 1 else "need"
        return f"{enclosures}: {_named(calling)} {verb} a hand."
    if back:
        verb = "is well again" if len(back) == 1 else "are well again"
        return f"{enclosures}: {_named(back)} {verb}; see what happened."
    if seen:
        return f"{enclosures}: nothing new. You know about {_named(seen)}."
    return f"{enclosures}: none needs a hand."


def duration(minutes: int) -> str:
    """A span of time as one says it."""
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
