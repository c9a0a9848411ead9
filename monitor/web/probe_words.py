"""The English of the probes' pages and of calibration, beside ``monitor.web.words``."""

from monitor.alarms.model import Because
from monitor.analysis.trust.model import Confidence
from monitor.setup.calibration import Salt
from monitor.store.sqlite.state.calibrations import State

BELIEVED = "believed"
AGO = "{}, {} ago"
JUST_NOW = "{}, just now"
NO_ROOM_PROBE = "This room has no probe yet."
CONFIDENCE = {
    Confidence.POSSIBLE: "possible: worth a look",
    Confidence.LIKELY: "likely",
    Confidence.CERTAIN: "certain",
}
FIGURES = {
    "above_pct": ("above the other", "%"),
    "allowed_pct": ("both may differ by", "%"),
    "drift_pct": ("drift", "%"),
    "low_pct": ("drift at least", "%"),
    "high_pct": ("drift at most", "%"),
    "uncertainty_pct": ("drift known to", "± %"),
    "a_year_pct": ("drift a year", "%"),
    "mistings": ("mistings looked at", ""),
    "highest_pct": ("highest after them", "%"),
    "lag_min": ("time it lags", "min"),
    "days": ("overdue", "days"),
    "hours": ("hours saturated", "h"),
    "warmed_k": ("warmed meanwhile", "K"),
}
"""What the figures behind an advice are called, and their units."""

CAUTIONS = {
    Salt.LITHIUM_CHLORIDE: (
        "Harmful if swallowed; gloves and glasses. It creeps: leave the dish half empty."
    ),
    Salt.MAGNESIUM_CHLORIDE: "Keep it off skin and eyes; it draws water, so close its jar at once.",
    Salt.POTASSIUM_CARBONATE: "Burns eyes: wear glasses.",
    Salt.SODIUM_CHLORIDE: "Not table salt: iodide and anti-caking agents shift the humidity.",
    Salt.POTASSIUM_CHLORIDE: "Do not swallow it.",
    Salt.POTASSIUM_SULFATE: (
        "So near to saturation that the least cooling wets the sensor: keep the box evenly warm."
    ),
}
USUAL = (Salt.MAGNESIUM_CHLORIDE, Salt.SODIUM_CHLORIDE)
"""What suits most enclosures."""
ORDER = ("First salt", "then", "then", "then")
STATES = {State.RUNNING: "under way", State.FINISHED: "finished", State.ABANDONED: "abandoned"}
NO_SALT = "Choose a first salt."
SALT_TWICE = "Choose each salt once."

IN_THE_BOX = "{} is in the salt box"
FINISHED = "{} is calibrated"
UNUSABLE = "{}: this calibration cannot be used"
ABANDONED = "{}: this calibration was abandoned"
APPROACH = (
    "Humidity as the probe reads it over {} in the box: last {} %. The salt's fixed point is {} %, "
    "give or take {}."
)
APPROACH_NO_POINT = "Humidity as the probe reads it over {} in the box: last {} %."
DONE = "In it from {}; at rest at {} % and {} °C."
HERE_SINCE = "In it since {}."
NOT_ENDED = "In it from {}; never closed."
TO_FOLLOW, LEFT_OUT = "To follow.", "Left out."
AT_LEAST = "{:g} h at least"
HOURS = "{:g} h"

AT_WORK = {
    Because.MAINTENANCE: "I am at work on it",
    Because.LID_OPEN: "The lid is open",
}
SETTLES = "Once you are done, the air has up to {} left to settle."
SETTLES_AT_ONCE = "Once you are done, they call again at once."
AT_WORK_FOR = {"30": "30 min", "60": "1 h", "180": "3 h"}
"""For how many minutes alarms can be kept quiet on the page."""
QUIET_UNTIL = {
    Because.MAINTENANCE: "Quiet until {} while somebody is at work on it",
    Because.LID_OPEN: "Quiet until {} for the open lid",
}
QUIET_BY = "{}, said by {}."
