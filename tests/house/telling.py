"""What daemons of a house tell, written short."""

from typing import Any

from monitor.house.told import Asked, Told
from monitor.setup.models import Setup
from monitor.times import parse_rfc3339

NOW_MS = parse_rfc3339("2026-11-25T03:12:00Z")
BEGUN_MS = parse_rfc3339("2026-11-25T01:00:00Z")


def set_up(*enclosures: str, rooms: dict[str, bool] | None = None) -> Setup:
    """Enclosures by id; rooms by id, and whether they have a probe."""
    air = [{"id": "air"}]
    return Setup.model_validate(
        {
            "enclosure": [
                {"id": each, "name": each.upper(), "timezone": "UTC"} for each in enclosures
            ],
            "room": [
                {"id": each, "name": each, "probe": air if has else []}
                for each, has in (rooms or {}).items()
            ],
        }
    )


def alarm(place: str, **more: Any) -> dict[str, Any]:
    """An alarm that nobody has seen."""
    return {
        "id": f"{place}.canopy.humidity.low.1",
        "probe": "canopy",
        "zone": "canopy",
        "quantity": "humidity",
        "condition": "low",
        "priority": "warning",
        "state": "unacknowledged",
        "since": "2026-11-25T02:18:00Z",
        "raised_at": "2026-11-25T02:38:00Z",
        "returned_at": None,
        "withdrawn_at": None,
        "acknowledged_at": None,
        "acknowledged_by": None,
        "shelved_until": None,
        "suppressed_because": None,
        "value": 55.0,
        "limit": 60.0,
        "says": "Humidity in the canopy has been below 60 % since 02:18, down to 55 %.",
        "cause": "Water has left the air.",
        **more,
    }


def value(quantity: str = "humidity", number: float = 75.0, **more: Any) -> dict[str, Any]:
    """A good value of a minute ago."""
    return {
        "quantity": quantity,
        "value": number,
        "unit": "%RH" if quantity == "humidity" else "Cel",
        "at": "2026-11-25T03:11:00Z",
        "quality": "good",
        "reason": "ok",
        **more,
    }


def place(place_id: str, *alarms: dict[str, Any], **more: Any) -> dict[str, Any]:
    """An enclosure with one probe."""
    return {
        "id": place_id,
        "kind": "enclosure",
        "name": place_id.upper(),
        "timezone": "UTC",
        "alarms": alarms,
        "probes": [
            {"probe": "canopy", "zone": "canopy", "silent_after_s": 300, "values": [value()]}
        ],
        **more,
    }


def told(daemon: str, *places: str | dict[str, Any], **more: Any) -> Told:
    """What a daemon tells of its places, by id or in full."""
    return Told.model_validate(
        {
            "daemon": daemon,
            "version": "0.1.0",
            "at": "2026-11-25T03:12:00Z",
            "share": {
                "enclosures": [each if isinstance(each, str) else each["id"] for each in places]
            },
            "places": [place(each) if isinstance(each, str) else each for each in places],
            **more,
        }
    )


def answering(words: Told) -> Asked:
    """A peer that told this two seconds ago."""
    return Asked(words.daemon, _url(words.daemon), True, words, NOW_MS - 2_000)


def silent(words: Told, at_ms: int = NOW_MS - 120_000) -> Asked:
    """A peer that told this two minutes ago, and nothing since."""
    refused = "no connection (connection refused)"
    return Asked(words.daemon, _url(words.daemon), False, words, at_ms, refused)


def never(daemon: str) -> Asked:
    """A peer that has never answered."""
    refused = "no connection (connection refused)"
    return Asked(daemon, _url(daemon), False, why_not=refused)


def _url(daemon: str) -> str:
    return f"http://{daemon}.example:8420"
