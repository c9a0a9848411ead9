"""Notices for tests of the channels."""

import json
from typing import Any

from monitor.store.rows import Notice

KEY = "cork-cube.canopy.humidity.low.1796000000000/raised"
DRY = {
    "event": "raised",
    "idempotency_key": KEY,
    "enclosure_name": "Cork cube",
    "priority": "warning",
    "says": "Humidity in the canopy is 38.2 %, below 60 % since 02:10.",
}


def notice(key: str = KEY, channel: str = "phone", **changes: Any) -> Notice:
    """A notice of an alarm; what is None is left out of its document."""
    document = {name: each for name, each in (DRY | changes).items() if each is not None}
    return Notice(channel, key, "raised", json.dumps(document, ensure_ascii=False))
