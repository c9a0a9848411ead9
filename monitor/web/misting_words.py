"""The English of the misting page, beside ``monitor.web.words``."""

import re

CANNOT_TITLE = "Nothing can be said of misting yet"
NO_PLAN_TITLE = "No plan"
PLAN_TITLE = "Mist {} a day, {:g} s in all"
NO_MISTING_TITLE = "It keeps its range without misting"
TIMES = {1: "once", 2: "twice"}
OFTEN = "{} times"

AT = "{} for {:g} s"
NO_MISTING = "no misting at all"
SHARE = "{:.0f} %"
HOURS = "{:.1f} h"
WATER = "{:.0f} ml"
WATER_BY_AIR = "{:.1f} g for each m³ of enclosure"
FIGURES = {
    "promised": "In range, at least",
    "time_in_range": "In range, on the mean",
    "too_dry": "Too dry",
    "too_wet": "Too damp",
    "hours_near_saturation": "At 95 % or more, a day",
    "longest_wet_h": "Of that at a stretch",
    "dry_hours": "Longest dry stretch of a day",
    "water": "Water a day",
}
"""What is compared between plans, in the order in which it stands in the table."""
PLAN = "Plan {}"
TRADE_OFF = (
    "Each plan by its seconds of misting a day, to the right, and by the share of the time it "
    "keeps in range in nine of ten weeks, upwards: {}."
)
TRADED = "plan {} {:g} s and {:.0f} %"
DAY = (
    "Humidity through a day of {}: the middle between {:.0f} % at {} and {:.0f} % at {}, four of "
    "five days within the grey. The band is what the air should keep to."
)
PLAN_NUMBER, NEAREST = "plan {}", "the schedule that comes nearest"

GONE = "By {}, half of what a misting brings is gone after {:.0f} min ({:.0f} to {:.0f})."
GONE_UNKNOWN = "By {}, how fast it dries cannot be said: see the doubts below."
RATE = "{}: {:.2f} per hour ({:.2f} to {:.2f})"
PHASES = ("day", "night")
ASYMPTOTE = (
    "Left alone, its air goes to {:.1f} g/m³ of water, most of the time between {:.1f} and {:.1f}."
)
DOSE = "Each second of misting brings {:.2f} g/m³ ({:.2f} to {:.2f}), by {} mistings."
BACKTEST = (
    "Tried on the last {:.0f} days, which it had not seen: off by {:.1f} % humidity on the mean. "
    "To expect the usual day would be off by {:.1f} %."
)
RESIDUALS = (
    "What the balance did not foresee, in standard deviations: {:.0f} % of {} readings within two. "
    "A cloud without a shape is good; a shape means that something is missing in it."
)

COURSE = "Water in its air, last {} days"
NO_MISTINGS = "None in these two weeks, neither told nor seen in the air."
FOUND = "{} mistings in two weeks; {} of them only the air shows."
BY = {
    "mister": "told by the mister",
    "journal": "from the journal",
    "air": "seen in the air alone, {:.0f} % sure",
}
LASTED = "{:g} s"
ROSE = "up by {:.1f} g/m³"

TAKEN = "Taken on {}: {}."
CONFIRM, REJECT = "Yes, misted", "No misting"
NOT_SEEN = "nothing of it in the air"
WRONG_TIMES = "this is no plan that was shown; load the page again"
CAUTIONS = (
    "A proposal out of the log, not a command: nothing here drives a mister.",
    "Keep spray off lamps, sockets and mats; let a drip loop hang below every plug.",
    "Mains near water need a residual-current device.",
    "Stagnant, ever-wet air harms more animals than a dry afternoon: ventilate before you mist.",
    "Standing water breeds germs: empty and clean tank and nozzles, and use water without lime.",
    "Look at the animal, not at the figure.",
)


_PER_CENT = re.compile(r"(?<=\d)%")


def told(sentence: str) -> str:
    """A sentence of the assessment with its units as the pages write them."""
    return _PER_CENT.sub(" %", sentence).replace("g/m3", "g/m³")


def often(count: int) -> str:
    """How many times."""
    return TIMES.get(count, OFTEN.format(count))
