"""The English of the page of the whole house, beside ``monitor.web.words``."""

from monitor.alarms.model import Priority
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

NOTHING_KNOWN = "Nothing is known of it here."
LAST_KNOWN = "What was last known, at {}:"
CLAIMED_TITLE = "Claimed by several daemons"
NO_ALARM_TITLE = "No alarm"
OTHER_SET_UP = "{} Whether it is in range, its owner's page tells."
PRIORITIES = {
    Priority.CRITICAL: "critical",
    Priority.WARNING: "warning",
    Priority.ADVICE: "advice",
}
WATCHED_BY, LAST_WATCHED_BY = "watched by {}", "last watched by {}"
WATCHED_BY_NOBODY = "watched by nobody"
AND_HERE = "{} (here)"
ANSWERED = "answered {}"
LAST_ANSWERED, NEVER_ANSWERED = "does not answer; last answered {}", "has not answered yet"
THIS_ONE = "the one you are asking"
OF_PEER = "{}: {}"
NO_CHANNELS_LEAVE = "Notices cannot leave: {}."


def ago(ms: int) -> str:
    """How long ago something was, in the largest unit that tells enough."""
    if ms < 2 * MINUTE_MS:
        return f"{max(ms, 0) // SECOND_MS} s ago"
    if ms < 2 * HOUR_MS:
        return f"{ms // MINUTE_MS} min ago"
    return f"{ms // HOUR_MS} h ago" if ms < 2 * DAY_MS else f"{ms // DAY_MS} days ago"
