"""The page's English: every word that is not a name or a number, in one place.

The sentence of an alarm comes from ``monitor.alarms.wording``, that of a quality from
``monitor.quality``; headings and longer texts that never change stand in the templates.
"""

import datetime as dt
import re
from collections.abc import Sequence

from monitor.alarms.model import Because, Condition
from monitor.quantities import DERIVED_UNITS, Quantity
from monitor.setup.models import Probe, Span, Zone
from monitor.setup.share import ShareSettings
from monitor.species.profile import Kind, When
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import MINUTE_MS, day_in_words
from monitor.web.units import Units

SECTIONS = {
    "room": ("", "Room"),
    "house": ("house", "House"),
    "alarms": ("alarms", "Alarms"),
    "journal": ("journal", "Journal"),
    "species": ("species", "Species"),
    "setup": ("setup", "Set-up"),
    "health": ("health", "Health"),
}
"""What the navigation leads to: address and name by key."""
PARTS = {
    "climate": ("", "Climate"),
    "journal": ("/journal", "Journal"),
    "settling": ("/settling", "Settling"),
    "misting": ("/misting", "Misting"),
    "probes": ("/probes", "Probes"),
    "handover": ("/handover", "Hand-over sheet"),
    "report": ("/settling/report", "Settling report"),
}
"""What there is to see of one enclosure: the end of its address, and its name, by key."""
IN_A_HOUSE = "house"
"""What leads there is shown only where several daemons share a house."""
VIEW, SIGN_IN, SIGN_OUT = "Units and colours", "Sign in", "Sign out"
MISTAKE = "dewkeep made a mistake; its log tells more"
SKIP, NAVIGATION = "Skip to what this page says", "Pages"
SIGNED_IN = "Signed in as {}, {}."
MAY = {Scope.VIEW: "to look", Scope.OPERATE: "to look and act"}
TEMPERATURES = {"C": "°C", "F": "°F"}
PRESSURES = {"kPa": "kPa", "hPa": "hPa"}
THEMES = {"auto": "as the device has it", "light": "light", "dark": "dark"}
WRONG_TOKEN = "This is no token of this dewkeep, or one that was withdrawn."  # noqa: S105
TOO_MANY_TRIES = "Too many wrong tokens just now. Wait five minutes, then try again."

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
AIR = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
"""What is told of a room's air."""
ROOM_AIR = "{}, air {}"

COURSES = {
    Quantity.HUMIDITY: "humidity",
    Quantity.TEMPERATURE: "temperature",
    Quantity.DEW_POINT: "dew point",
    Quantity.VAPOUR_PRESSURE_DEFICIT: "vapour pressure deficit",
    Quantity.VAPOUR_PRESSURE: "vapour pressure",
    Quantity.ABSOLUTE_HUMIDITY: "absolute humidity",
    Quantity.MIXING_RATIO: "mixing ratio",
    Quantity.SUBSTRATE_MOISTURE: "moisture",
    Quantity.SURFACE_TEMPERATURE: "surface temperature",
    Quantity.ILLUMINANCE: "light",
    Quantity.BATTERY: "battery",
}
"""All quantities, in the order in which their courses are offered."""
DERIVED = tuple(DERIVED_UNITS)

WELL = "All is well with dewkeep itself."
UNWELL = "{} of its parts cannot do their work."
BROKER, STORE, LOOP, LIVE = "Broker", "Store", "Ingest", "Live pages"
CHANNEL, CHANNELS = "Channel {}", "Channels"
CONNECTED = "Connected since {}."
CUT_OFF = "Not connected ({}) since {}."
RECEIVED = "{} messages received."
STORING = "Readings are stored as they come."
STORED = "The database takes {} MB."
RUNNING = "Running."
HELD_BACK = "{} messages are held back until they can be stored."
REPEATED = "{} readings came again and were left out."
MISTAKES = "dewkeep itself failed on {} messages; the log tells where."
DELIVERING = "Delivering."
NO_CHANNEL = "Its loop has stopped; restart dewkeep."
NO_CHANNELS = "None is set up: alarms show on these pages only. Add a [[channel]] to the settings."
WAITING = "{} notices wait, the oldest for {}."
GIVEN_UP = "{} were given up after a day of trying."
CALLED_OFF = "{} were called off: somebody had seen to the alarm before they could leave."
LAST_ERROR = "Last trouble: {}"
LISTENERS = "{} listening now."
DROPPED = "{} events were dropped for slow ones."
LATE_MS = 10 * MINUTE_MS
"""A notice that waits longer is a trouble of its channel."""
REJECTED = {
    "unknown": (
        "it comes from a probe or device that is in no set-up",
        "say on the set-up page which probe it is",
    ),
    "fault": ("dewkeep itself failed on it", "report it, with the lines of the log around it"),
}
"""Reasons beside those of payloads: what was wrong, and what to do."""

SPECIES_KINDS = {Kind.ANIMAL: "Animals", Kind.PLANT: "Plants", Kind.CREW: "Clean-up crew"}
KIND = {Kind.ANIMAL: "Animal", Kind.PLANT: "Plant", Kind.CREW: "Clean-up crew"}
GRADES = {"preferred": "preferred", "tolerated": "tolerated", "critical": "never beyond"}
ALL_YEAR = "All year"
SEASON = "{}: {}"
ALL_AIR = "all air"
WHERE_AND_WHEN = {None: "{}", When.DAY: "{}, by day", When.NIGHT: "{}, by night"}
DRYING = "Below {:g} % for {:g} hours a day ({})."
SIZE = "{:g} mm ({})"
GROUND, MOULT, FOOD = "Ground", "Moult", "Food"

STEP_BROKER = "dewkeep is connected to the broker."
STEP_ENCLOSURE = "An enclosure is set up."
STEP_PROBE = "It has a probe."
STEP_READING = "The first reading has come."
A_PROBE_OF, SET_UP_WITH_IT = "This is a probe of {}", "Set up {} with it"
NO_ID = "such a name can be no id, which has letters, digits, - and _ only, 64 at most"
NO_DEVICE = "such a name can be set up in the settings only, among the devices of its source"
NOT_SURE = "tick the box beside the button first: taking a place out ends the watch over it"
FITTING = "Fits those chosen best"
RANGE_NAMES = {"day": "{} by day", "night": "{} by night", "critical": "{}, never beyond"}

VERDICTS = {
    "collecting": "Too few readings yet to judge it",
    "unsettled": "Not settled: something is in its way",
    "settling": "Settling: only time, or a look, is missing",
    "settled": "Settled",
}
RESULTS = {"pass": "met", "fail": "not met", "unknown": "cannot be said yet"}
EARLIEST = "If things go on as they do, it could be settled on {} at the earliest."
NOT_BEFORE = "Not before {}."
CRITERIA = {
    "age": "Age",
    "coverage": "Readings enough",
    "time_in_range_day": "In range by day",
    "time_in_range_night": "In range by night",
    "evenness": "No drift",
    "still_to_come": "No drift still to come",
    "daily_cycle": "A steady daily course",
    "recovery": "Comes back after a misting",
    "stagnation": "Air that moves",
    "dry_out": "Dries daily",
    "mould": "The first mould has come and gone",
    "springtails": "Springtails alive",
    "isopods": "Isopods alive",
    "plants": "Plants hold",
}
NO_MOULD_LOOKS = "Nobody has looked for mould in this time."
NEVER_MOULD = "No mould at any of {} looks in this time."
MOULD_WENT = "At its worst {} ({}); at the last look {} ({})."

EVERY = "Every {} s, on"
NEVER_CALIBRATED = "Never calibrated here: its error is what its maker says, or more."
CALIBRATED = "Calibrated on {}; due again on {}."
DUE_SOON = "Calibrated on {}; due soon, on {}."
OVERDUE = "Calibrated on {}; it was due again on {}."
CORRECTION = "Its {} is corrected: {} times the reading, {}."
PROBES_DOUBTED = "{}: look after it."
PROBES_BELIEVED = "Nothing speaks against any probe."

COURSE = "{}, {}"
FROM_TO = "{} to {}"
SPANS = {
    "day": "Day",
    "week": "Week",
    "month": "Month",
    "season": "Season",
    "year": "Year",
}
SHARE = "{}, in range {}"
NEVER_HEARD = "No probe of this enclosure has reported {} yet."
NO_COURSE = "nothing heard in this time"

KINDS = {
    "misted": "Misted",
    "fed": "Fed",
    "inspection": "Looked inside",
    "moult": "Moulted",
    "maintenance": "Worked on it",
    "animal_in": "Animal moved in",
    "not_misted": "Not misted after all",
    "misting_plan": "Misting plan taken up",
    "note": "Note",
}
RARE_KINDS = tuple(kind for kind in KINDS if kind not in ("misted", "fed"))
"""What is still marked where weeks are shown."""
KEPT_KINDS = tuple(kind for kind in KINDS if kind != "misted")
"""What the journal of all enclosures shows: mistings would drown the rest."""
QUICK = ("misted", "fed", "maintenance", "moult")
"""What one tap writes down."""
WRITTEN = ("misted", "fed", "moult", "maintenance", "animal_in", "note")
"""What the form offers."""
SOURCES = {"mister": "by the mister", "import": "imported"}
MISTED_OFTEN = "Misted {} times, {:.0f} s in all"
PHOTO = "Photo: {}, {}"
PHOTOS, PHOTOS_OF = "Photos", "Photos: {}, {}, {}"
NO_PHOTO = "Choose a photo first."
NOT_A_FORM = "send a photo as one multipart/form-data form"
WROTE = "written down"
NOT_WRITTEN = "Nothing was written down yet: see what is marked below."
WRONG_ENTRY = {
    "kind": "Choose what happened.",
    "at": "Write a date and a time, such as 2026-11-25T14:05, of this century.",
    "seconds": "Write how many seconds, a number from 0 to 86400; or nothing.",
    "mould_cover": "Choose 0 to 5.",
    "plants": "Choose how the plants stand.",
    "note": "Say something: choose what you saw, or write a note of up to 4000 letters.",
}
MOULD = (
    "no mould",
    "a speck of mould",
    "a little mould",
    "mould in places",
    "much mould",
    "mould all over",
)
SPRINGTAILS = {True: "springtails seen", False: "no springtails seen"}
ISOPODS = {True: "isopods seen", False: "no isopods seen"}
PLANTS = {"standing": "plants standing", "wilting": "plants wilting", "rooted": "plants rooted"}

BEYOND = {
    Quantity.HUMIDITY: ("too dry", "too damp"),
    Quantity.TEMPERATURE: ("too cold", "too warm"),
    Quantity.SUBSTRATE_MOISTURE: ("too dry", "too wet"),
    Quantity.SURFACE_TEMPERATURE: ("too cold", "too hot"),
}
"""What a value below its range is called, and one above it."""
BEYOND_ANY = ("too low", "too high")
"""The same of a quantity that only another daemon, newer than this one, has alarms for."""
FAR = "far {}"
"""Beyond a critical limit."""
SILENT = "silent"
RELAPSED = "no longer settled"
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

DEWKEEP = "dewkeep itself"
NO_LINK = "no connection to the broker"
KEPT_QUIET = "Kept quiet: {}."
BECAUSE = {
    Because.GRAVER: "a graver alarm says more",
    Because.MAINTENANCE: "somebody is at work on it",
    Because.LID_OPEN: "the lid is open",
    Because.MISTING: "it is being misted",
    Because.OUT_OF_SERVICE: "the probe is out of service",
}
LIMIT, AT_FIRST, WORST = "limit", "when it called", "worst"
FIGURES = {
    "usual_humidity": "usual at that hour",
    "dew_point_departure": "dew point against the usual",
    "temperature_departure": "temperature against the usual",
    "dew_point_change": "dew point, change before it",
    "temperature_change": "temperature, change before it",
    "run_up": "began before it",
    "room_vapour_pressure_departure": "water in the room's air against the usual",
    "room_temperature_departure": "room temperature against the usual",
    "mistings_missed": "usual mistings that did not come",
    "days_compared": "days compared",
}
"""What the figures behind a cause are called."""
WATER_SHARE = "Lost water explains {} % of it (between {} and {} %)."
AHEAD = {
    "low": "It is expected to fall below its range {}.",
    "high": "It is expected to rise above its range {}.",
}
AHEAD_AGAIN = {
    "low": "Just now it is back in its range, and expected to fall below it again {}.",
    "high": "Just now it is back in its range, and expected to rise above it again {}.",
}
"""For the limit that the alarm itself stands for: it stays until the value is well inside."""
SHELVES = {"60": "1 hour", "240": "4 hours", "720": "12 hours", "1440": "a day"}
"""For how many minutes an alarm can be set aside on the page."""

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
UNHEARD = "nothing heard yet; it should publish on {}"
TOPIC, DEVICE = "dewkeep/{}/{}", "a topic with its device, {}"

ONE_OF = "{} (probe {})"
"""One of several probes in a zone."""
SEVERAL = "{} \N{MULTIPLICATION SIGN} {}"
BETWEEN = " · "
NOBODY = "no inhabitants named yet"
CUT_OPEN = "{} cut open"
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

ONLY_OWN = "Here is what {} watches: {}. Other daemons watch the rest"
SEE_HOUSE = "see the whole house"

NO_BROKER = "No connection to the broker, so nothing new can come in: {}."
NO_STORE = "Readings cannot be stored, so they are held back: {}."
NO_LOOP = "dewkeep has stopped taking readings in. Restart it; its log tells why."
NOTHING_YET = "No enclosures yet."
MOST_NAMES = 4
"""How many places the first sentence names; it must stay one."""


_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def condition(quantity: Quantity | None, what: Condition) -> str:
    """What is the matter, in two or three words."""
    if what is Condition.RELAPSE:
        return RELAPSED
    if quantity is None:
        return NO_LINK if what is Condition.BROKER else SILENT
    low, high = BEYOND.get(quantity, BEYOND_ANY)
    match what:
        case Condition.CRITICAL_LOW:
            return FAR.format(low)
        case Condition.CRITICAL_HIGH:
            return FAR.format(high)
        case Condition.HIGH:
            return high
        case _:
            return low


def topic(place: str, probe: Probe) -> str:
    """Where a probe is expected to publish."""
    return TOPIC.format(place, probe.id) if probe.device is None else DEVICE.format(probe.device)


def capital(text: str) -> str:
    """Text that begins a sentence."""
    return text[:1].upper() + text[1:]


def listed(things: Sequence[str]) -> str:
    """Things in a sentence: "a", "a and b", "a, b and c"; nothing of nothing."""
    if not things:
        return ""
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


def part_of(daemon: str, share: ShareSettings) -> str | None:
    """That a daemon watches a part of the house only; None if it watches everything."""
    return None if share == ShareSettings() else ONLY_OWN.format(daemon, share)


_IN_BRACKETS = re.compile(r"\[(-?[\d.]+), (-?[\d.]+)\] (Cel|%RH)")
_UNITS = {"Cel": "°C", "%RH": "%"}


def plain(text: str) -> str:
    """A sentence of an assessment with ranges and units as the pages write them."""
    text = _IN_BRACKETS.sub(lambda found: RANGE.format(found[1], found[2], _UNITS[found[3]]), text)
    return text.replace(" %RH", " %").replace(" Cel", " °C")


def sentence(things: Sequence[str]) -> str:
    """Things as a short sentence of their own."""
    return capital(listed(things))


def months(numbers: Sequence[int]) -> str:
    """Months by name, 1 being January."""
    return listed([_MONTHS[number - 1] for number in numbers])


def span_in(units: Units, quantity: Quantity, span: Span) -> str:
    """A range in the viewer's units."""
    shown = units.span(quantity, span)
    return RANGE.format(f"{shown.low:g}", f"{shown.high:g}", units.sign(quantity))


def share(part: float) -> str:
    """How much of the time, without claiming all of it for a little less."""
    if part in (0.0, 1.0):
        return "all of the time" if part else "at no time"
    return f"{min(max(round(100 * part), 1), 99)} % of the time"


def day(date: dt.date) -> str:
    """A day with its weekday and year."""
    return f"{_WEEKDAYS[date.weekday()]}, {day_in_words(date)} {date.year}"


def moment(when: dt.datetime, beside: dt.datetime | None) -> str:
    """A day and a time; the year too, where ``beside`` is of another one."""
    year = f" {when.year}" if beside is not None and beside.year != when.year else ""
    return f"{day_in_words(when.date())}{year}, {when:%H:%M}"


def figure(value: float, unit: str) -> str:
    """A figure behind a cause."""
    if unit == "1":
        return f"{value:g}"
    if unit == "min":
        return duration(round(value))
    signed = "+.1f" if unit == "K" else ".0f"
    return f"{value:{signed}} {'%' if unit == '%RH' else unit}"
