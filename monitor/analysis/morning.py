"""Nights for other eyes: the JSON of the API, a sentence each, and a text to read on a phone."""

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from monitor.analysis.night import Beyond, Course, Extreme, Need, NightReport, Silence, urgency
from monitor.quantities import Quantity, unit_of
from monitor.species.ranges import Ranged
from monitor.times import HOUR_MS, MINUTE_MS, day_in_words, duration, rfc3339

Json = dict[str, object]

MOST_LINES = 20
"""Of a group in the text; a phone shows no more."""
HEADINGS = {Need.HAND: "NEEDS A HAND", Need.LOOK: "Worth a look", Need.NOTHING: "Quiet"}

_WHAT = {
    Quantity.TEMPERATURE: "temperature",
    Quantity.HUMIDITY: "humidity",
    Quantity.SUBSTRATE_MOISTURE: "moisture",
    Quantity.SURFACE_TEMPERATURE: "surface temperature",
}
_SIGN = {"Cel": "°C", "%RH": "%", "%": "%"}
_AIR = (Quantity.HUMIDITY, Quantity.TEMPERATURE)


class Morning(NamedTuple):
    """The report on all enclosures: ``says`` is its first sentence, ``text`` the whole of it."""

    date: dt.date
    says: str
    text: str
    reports: list[NightReport]
    """Those that need a hand first."""


def morning(reports: Sequence[NightReport], date: dt.date) -> Morning:
    """All enclosures' nights as one report for a day."""
    ordered = sorted(reports, key=urgency)
    says = _says([report.need for report in ordered])
    groups = [
        "\n".join([HEADINGS[need], *_lines([each for each in ordered if each.need is need])])
        for need in Need
        if any(each.need is need for each in ordered)
    ]
    head = f"The night to {day_in_words(date)}. {says}"
    return Morning(date, says, "\n\n".join([head, *groups]), ordered)


def wire(report: NightReport) -> Json:
    """A night as the API gives it; times are RFC 3339 in UTC, ``says`` speaks local time."""
    return {
        "enclosure": report.enclosure.id,
        "name": report.enclosure.name,
        "date": report.night.date.isoformat(),
        "from": rfc3339(report.night.start_ms),
        "to": rfc3339(report.night.end_ms),
        "over": report.night.end_ms <= report.as_of_ms,
        "needs": report.need.value,
        "says": sentence(report),
        "quantities": {
            quantity.value: _course(quantity, course) for quantity, course in report.courses.items()
        },
        "alarms": [
            {"id": alarm.id, "priority": alarm.priority}
            | {"raised_at": rfc3339(alarm.raised_at_ms), "standing": alarm.standing}
            | {"says": alarm.says}
            for alarm in report.alarms
        ],
        "mistings": {
            "count": len(report.mistings),
            "usual": report.usual_mistings,
            "list": [
                {"at": rfc3339(each.at_ms), "seconds": each.seconds} for each in report.mistings
            ],
        },
        "silent": [
            {"probe": each.probe, "zone": each.zone.value, "minutes": _minutes(each.ms)}
            | {"since": None if each.since_ms is None else rfc3339(each.since_ms)}
            | {"lasts": each.lasts}
            for each in report.silent
        ],
    }


def sentence(report: NightReport) -> str:
    """The night in one sentence, the worst of it first; times by the enclosure's clock."""
    if not report.enclosure.probe:
        return "It has no probes, so nothing is known of its night."
    gone = [silence for silence in report.silent if silence.lasts]
    now = [*_alarms(report, standing=True), *_gone(gone, report)]
    if report.need is Need.NOTHING:
        parts = list(_quiet(report))
    else:
        parts = [*now, *(_alarms(report, standing=False) if not report.standing else ())]
        parts += (
            f"probe {each.probe} sent nothing for {duration(each.ms)}"
            for each in report.silent
            if not each.lasts
        )
        parts += () if report.alarms else _excursions(report)
        if report.dry:
            parts.append(f"{_misted(report)}, usually {report.usual_mistings}")
    told = "; ".join(parts)
    return f"{told[:1].upper()}{told[1:]}."


def _says(needs: Sequence[Need]) -> str:
    """How many need what: the first sentence of the report."""
    if not needs:
        return "No enclosure is set up."
    hand, look = needs.count(Need.HAND), needs.count(Need.LOOK)
    if not hand and not look:
        return "All is quiet." if len(needs) > 1 else "It was quiet."
    of = f" of {len(needs)}"
    parts = []
    if hand:
        parts.append(f"{hand}{of} need{'s' if hand == 1 else ''} a hand")
        of = ""
    if look:
        parts.append(f"{look}{of} {'is' if look == 1 else 'are'} worth a look")
    return f"{', '.join(parts)}."


def _lines(reports: Sequence[NightReport]) -> Iterator[str]:
    for report in reports[:MOST_LINES]:
        yield f"{report.enclosure.name}: {sentence(report)}"
    if len(reports) > MOST_LINES:
        yield f"and {len(reports) - MOST_LINES} more"


def _alarms(report: NightReport, *, standing: bool) -> Iterator[str]:
    """The gravest alarm of the climate in its own words, the others as a number."""
    found = report.standing if standing else report.alarms
    told = [alarm for alarm in found if not alarm.of_silence]
    if not told:
        return
    first = min(told, key=lambda alarm: (alarm.priority != "critical", alarm.raised_at_ms))
    yield f"{first.says[:1].lower()}{first.says[1:]}".rstrip(".")
    if len(told) == 2:
        yield f"1 more alarm {'stands' if standing else 'came and went'}"
    elif len(told) > 2:
        yield f"{len(told) - 1} more alarms {'stand' if standing else 'came and went'}"


def _gone(silences: Sequence[Silence], report: NightReport) -> Iterator[str]:
    """Probes that are silent still."""
    if not silences:
        return
    names = [silence.probe for silence in silences]
    subject = f"probe {names[0]} has"
    if len(names) > 1:
        subject = f"probes {', '.join(names[:-1])} and {names[-1]} have"
    since = [silence.since_ms for silence in silences if silence.since_ms is not None]
    when = f"since {_clock(min(since), report)}" if len(since) == len(silences) else "all night"
    yield f"{subject} sent nothing {when}"


def _excursions(report: NightReport) -> Iterator[str]:
    for quantity, course in report.courses.items():
        for side, beyond in (("below", course.below), ("above", course.above)):
            if beyond.worst is not None and beyond.ms >= MINUTE_MS:
                what, worst = _WHAT[quantity], beyond.worst
                reach = f"{'lowest' if side == 'below' else 'highest'} {_value(worst, quantity)}"
                when = f"{_clock(worst.at_ms, report)} at {worst.probe}"
                yield f"{what} {side} its range for {duration(beyond.ms)}, {reach} ({when})"


def _quiet(report: NightReport) -> Iterator[str]:
    for quantity, course in report.courses.items():
        if quantity in _AIR:
            low, high = (_number(each.value) for each in (course.lowest, course.highest))
            yield f"{_WHAT[quantity]} {low} to {high} {_SIGN[unit_of(quantity)]}"
    if report.mistings:
        yield _misted(report)
    if report.out_ms >= MINUTE_MS:
        yield f"out of range for {duration(report.out_ms)}"


def _misted(report: NightReport) -> str:
    count = len(report.mistings)
    return {0: "not misted", 1: "misted once"}.get(count, f"misted {count} times")


def _course(quantity: Ranged, course: Course) -> Json:
    return {
        "unit": unit_of(quantity),
        "lowest": _extreme(course.lowest),
        "highest": _extreme(course.highest),
        "below_range": _beyond(course.below),
        "above_range": _beyond(course.above),
    }


def _beyond(beyond: Beyond) -> Json:
    worst = None if beyond.worst is None else _extreme(beyond.worst)
    return {"minutes": _minutes(beyond.ms), "worst": worst}


def _extreme(extreme: Extreme) -> Json:
    return {
        "value": extreme.value,
        "at": rfc3339(extreme.at_ms),
        "probe": extreme.probe,
        "zone": extreme.zone.value,
    }


def _minutes(ms: int) -> float:
    return round(ms / MINUTE_MS, 1)


def _value(extreme: Extreme, quantity: Ranged) -> str:
    return f"{_number(extreme.value)} {_SIGN[unit_of(quantity)]}"


def _number(value: float) -> str:
    return f"{round(value, 1):g}"


def _clock(at_ms: int, report: NightReport) -> str:
    """By the enclosure's clock, with the date where it was before the night."""
    when = dt.datetime.fromtimestamp(at_ms / 1000, report.enclosure.zone_info)
    near = report.night.start_ms - 12 * HOUR_MS < at_ms
    return f"{when:%H:%M}" if near else f"{when:%H:%M} on {day_in_words(when)}"
