"""Times at the edges: RFC 3339 text outside, integer epoch milliseconds (UTC) inside."""

from datetime import UTC, datetime

SECOND_MS = 1_000
MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 86_400_000


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
