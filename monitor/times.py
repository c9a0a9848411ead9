"""Times at the edges: RFC 3339 text outside, integer epoch milliseconds (UTC) inside."""

from datetime import UTC, date, datetime

SECOND_MS = 1_000
MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 86_400_000

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def rfc3339(at_ms: int) -> str:
    """Epoch milliseconds as RFC 3339 UTC text, milliseconds shown only where there are any."""
    whole, ms = divmod(at_ms, 1000)
    text = datetime.fromtimestamp(whole, UTC).strftime("%Y-%m-%dT%H:%M:%S")
    return f"{text}.{ms:03d}Z" if ms else f"{text}Z"


def parse_rfc3339(text: str) -> int:
    """RFC 3339 text (or a bare ISO date, taken as midnight UTC) as epoch milliseconds.

    Raises:
        ValueError: the text is no such time, or has a time of day but no offset.
    """
    when = datetime.fromisoformat(text)
    if when.tzinfo is None:
        if len(text) > len("2026-01-01"):
            raise ValueError(f"{text!r} has no offset; write 2026-01-01T20:00:00Z or +01:00")
        when = when.replace(tzinfo=UTC)
    return round(when.timestamp() * 1000)


def duration(ms: int) -> str:
    """A length of time in words, to the minute: ``2 h 5 min``."""
    hours, minutes = divmod(round(ms / MINUTE_MS), 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def day_in_words(day: date) -> str:
    """A day without its year, in whatever locale: ``25 Nov``."""
    return f"{day.day} {_MONTHS[day.month - 1]}"
