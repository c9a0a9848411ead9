"""An alarm for other eyes: the JSON of the API, and one plain sentence for a half-asleep keeper.

What keeps alarms quiet has its JSON here too.
"""

import datetime as dt
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from monitor.alarms.model import DAEMON, Alarm, Condition, Priority
from monitor.alarms.suppression import Suppression
from monitor.quantities import Quantity, unit_of
from monitor.setup.models import Zone
from monitor.times import HOUR_MS, MINUTE_MS, rfc3339

_WHERE = {
    Zone.BASKING: "at the basking spot",
    Zone.WARM: "on the warm side",
    Zone.COOL: "on the cool side",
    Zone.CANOPY: "in the canopy",
    Zone.FLOOR: "on the floor",
    Zone.SUBSTRATE: "in the substrate",
    Zone.ROOM: "in the room",
}
_WHAT = {
    Quantity.TEMPERATURE: "Temperature",
    Quantity.HUMIDITY: "Humidity",
    Quantity.SUBSTRATE_MOISTURE: "Moisture",
    Quantity.SURFACE_TEMPERATURE: "Surface temperature",
}
_FRESH_MS = 10 * MINUTE_MS
"""So long after the raising its value may still be said to be the present one."""
_HOUR = len("00:00")
_SIGN = {"Cel": "°C", "%RH": "%", "%": "%"}
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def wire(alarm: Alarm, zone: dt.tzinfo, now_ms: int) -> dict[str, str | float | None]:
    """The alarm as the API gives it; ``enclosure`` is null for what concerns dewkeep itself.

    Times are RFC 3339 in UTC; only ``says`` tells them by the clock of ``zone``, the enclosure's
    own, as one would at ``now_ms``.
    """
    quantity = alarm.point.quantity
    return {
        "id": alarm.id,
        "enclosure": None if alarm.point.place == DAEMON else alarm.point.place,
        "probe": alarm.point.probe,
        "zone": None if alarm.zone is None else alarm.zone.value,
        "quantity": None if quantity is None else quantity.value,
        "condition": alarm.point.condition.value,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "since": rfc3339(alarm.since_ms),
        "raised_at": rfc3339(alarm.raised_at_ms),
        "value": alarm.value,
        "unit": None if quantity is None else unit_of(quantity),
        "limit": alarm.limit,
        "extreme": alarm.extreme,
        "returned_at": _time(alarm.returned_at_ms),
        "acknowledged_at": _time(alarm.acknowledged_at_ms),
        "acknowledged_by": alarm.acknowledged_by,
        "shelved_until": _time(alarm.shelved_until_ms),
        "shelved_by": alarm.shelved_by,
        "suppressed_because": because.value if (because := alarm.suppressed_because) else None,
        "suppressed_by": alarm.suppressed_by,
        "group": alarm.group,
        "chattering": alarm.chattering,
        "stale": alarm.stale(now_ms),
        "called_at": _time(alarm.called_at_ms),
        "withdrawn_at": _time(alarm.withdrawn_at_ms),
        "says": says(alarm, zone, now_ms),
    }


def wire_suppression(suppression: Suppression, now_ms: int) -> dict[str, str | bool | None]:
    """What keeps alarms quiet, as the API gives it; ``until`` is null for a probe out of service.

    ``in_force`` is false once a switch that still reports itself on is no excuse any more.
    """
    until_ms = suppression.until_ms
    return {
        "enclosure": suppression.place,
        "probe": suppression.probe,
        "because": suppression.because.value,
        "since": rfc3339(suppression.since_ms),
        "until": _time(until_ms),
        "in_force": until_ms is None or now_ms < until_ms,
        "by": suppression.by,
        "why": suppression.why,
    }


def says(alarm: Alarm, zone: dt.tzinfo, now_ms: int) -> str:
    """What is or was the matter, in one sentence, with times by the clock of ``zone``.

    Values are rounded to a tenth away from the limit, so that none seems to lie on it.
    """
    since = clock(alarm.since_ms, zone, now_ms)
    if alarm.returned_at_ms is not None:
        until = clock(alarm.returned_at_ms, zone, now_ms)
        if since[_HOUR:] == until[_HOUR:]:
            since = since[:_HOUR]  # one date is enough for both
        when = f"from {since} to {until}"
    else:
        when = f"since {since}"
    end = ""
    if alarm.withdrawn_at_ms is not None and alarm.returned_at_ms is None:
        end = f"; no longer watched from {clock(alarm.withdrawn_at_ms, zone, now_ms)}"

    _, probe, quantity, condition = alarm.point
    if condition is Condition.BROKER:
        verb = "has been" if alarm.standing else "was"
        return f"There {verb} no connection to the broker {when}, so nothing could be heard{end}."
    if condition is Condition.RELAPSE:
        return f"No longer settled {when}{end}. {alarm.found or ''}".rstrip()
    if (
        alarm.zone is None
        or quantity is None
        or alarm.value is None
        or alarm.limit is None
        or alarm.extreme is None
    ):
        return f"Probe {probe} {'has ' if alarm.standing else ''}sent nothing {when}{end}."

    subject = f"{_WHAT[quantity]} {_WHERE[alarm.zone]}"
    if probe != alarm.zone.value:
        subject += f" (probe {probe})"
    sign = _SIGN[unit_of(quantity)]
    above = condition in (Condition.HIGH, Condition.CRITICAL_HIGH)
    critical = "critical " if alarm.priority is Priority.CRITICAL else ""
    limit = f"{'above' if above else 'below'} {critical}{alarm.limit:g} {sign}"
    worst = _tenths(alarm.extreme, above)
    fresh = now_ms - alarm.raised_at_ms < _FRESH_MS and worst == _tenths(alarm.value, above)
    if alarm.standing and fresh:
        return f"{subject} is {worst} {sign}, {limit} {when}."
    verb = "has been" if alarm.standing else "was"
    reach = f"{'up' if above else 'down'} to {worst} {sign}"
    return f"{subject} {verb} {limit} {when}, {reach}{end}."


def clock(at_ms: int, zone: dt.tzinfo, now_ms: int) -> str:
    """A time of day by the clock of ``zone``, with the date if it is half a day or more away."""
    when = dt.datetime.fromtimestamp(at_ms // 1000, zone)
    if abs(now_ms - at_ms) < 12 * HOUR_MS:
        return f"{when:%H:%M}"
    return f"{when:%H:%M} on {when.day} {_MONTHS[when.month - 1]}"


def _tenths(value: float, above: bool) -> str:
    tenths = Decimal(str(value)).quantize(Decimal("0.1"), ROUND_CEILING if above else ROUND_FLOOR)
    return f"{(tenths + 0).normalize():f}"  # + 0: no minus sign before a zero


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else rfc3339(at_ms)
