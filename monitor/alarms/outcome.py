"""What a rehearsal came to, for other eyes: the JSON of the API, and a sentence to decide by."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from monitor.alarms.model import Alarm
from monitor.alarms.reckoning import Difference, Judged, Tally, difference, tally
from monitor.alarms.wording import wire as wire_alarm
from monitor.setup.models import Enclosure
from monitor.setup.nights import Night
from monitor.times import HOUR_MS, MINUTE_MS, rfc3339

Json = dict[str, object]

RAISED, UNCHANGED, CHANGED = "raised", "unchanged", "changed"
"""The sets of alarms: as recorded, by the set-up in force, by a changed one."""

MOST_LISTED = 500
"""Of each set the newest alarms are listed; the figures count all."""

TOLD = (
    *("id", "probe", "zone", "quantity", "condition", "priority", "since", "raised_at"),
    *("returned_at", "value", "unit", "limit", "extreme", "says"),
)
"""What is told of an alarm that never was: not its state, and nothing a keeper did."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Alarms of one enclosure over a span: those that were raised, and those of a rehearsal.

    ``first_ms`` is the time of the first reading in the span, None if there are none.
    """

    enclosure: Enclosure
    changed: Enclosure | None
    start_ms: int
    end_ms: int
    nights: Sequence[Night]
    sets: Mapping[str, Sequence[Judged]]
    readings: int
    first_ms: int | None
    unheard: Sequence[str]
    watched: bool
    """Whether the rehearsed set-up has any range at all."""


def wire(outcome: Outcome) -> Json:
    """The outcome as the API gives it; times are RFC 3339 in UTC, ``says`` speaks local time."""
    tallies = {name: tally(judged, outcome.nights) for name, judged in outcome.sets.items()}
    before, after = _compared(outcome)
    apart = difference(outcome.sets[before], outcome.sets[after])
    return {
        "enclosure": outcome.enclosure.id,
        "name": outcome.enclosure.name,
        "from": rfc3339(outcome.start_ms),
        "to": rfc3339(outcome.end_ms),
        "nights": len(outcome.nights),
        "readings": outcome.readings,
        "says": _says(outcome, tallies, apart),
        "notes": list(_notes(outcome)),
        **{
            name: _tally(tallies[name], outcome) | {"list": _listed(judged, outcome)}
            for name, judged in outcome.sets.items()
        },
        "difference": {
            "between": [before, after],
            "kept": apart.kept,
            "gone": [each.alarm.id for each in apart.gone],
            "new": [each.alarm.id for each in apart.new],
        },
        "by_night": [
            {"date": night.date.isoformat(), "from": rfc3339(night.start_ms)}
            | {"to": rfc3339(night.end_ms)}
            | {name: each.by_night[n] for name, each in tallies.items()}
            for n, night in enumerate(outcome.nights)
        ],
    }


def _compared(outcome: Outcome) -> tuple[str, str]:
    return (UNCHANGED, CHANGED) if CHANGED in outcome.sets else (RAISED, UNCHANGED)


def _tally(told: Tally, outcome: Outcome) -> Json:
    nights = max(1, len(outcome.nights))
    longest = told.longest and {
        "id": told.longest.alarm.id,
        "minutes": round(told.longest.lasted_ms / MINUTE_MS),
    }
    return {
        "alarms": told.alarms,
        "calls": told.calls,
        "calls_at_night": told.at_night,
        "calls_per_night": round(told.at_night / nights, 2),
        "critical": told.critical,
        "look_false": told.look_false,
        "longest": longest,
    }


def _listed(judged: Sequence[Judged], outcome: Outcome) -> list[Json]:
    return [
        _alarm(each.alarm, outcome)
        | {
            "called": each.alarm.called,
            "looks_false": each.doubt,
            "minutes": round(each.lasted_ms / MINUTE_MS),
        }
        for each in judged[-MOST_LISTED:]
    ]


def _alarm(alarm: Alarm, outcome: Outcome) -> Json:
    told = wire_alarm(alarm, outcome.enclosure.zone_info, outcome.end_ms)
    return {key: told[key] for key in TOLD}


def _says(outcome: Outcome, tallies: Mapping[str, Tally], apart: Difference) -> str:
    if not outcome.readings:
        return "Nothing was recorded in this span, so there is nothing to rehearse."
    before, after = (tallies[name] for name in _compared(outcome))
    nights = len(outcome.nights)
    span = "in 1 night" if nights == 1 else f"in {nights} nights"
    called = f"{_calls(after.calls)} {span} and the days between"
    if CHANGED in outcome.sets:
        lead = f"With the change there would have been {called}, without it {before.calls}"
    else:
        lead = f"The set-up as it is would have given {called}; the record holds {before.calls}"
    parts = [f"{lead}: {apart.kept} the same, {len(apart.gone)} gone, {len(apart.new)} new."]
    if after.calls:
        parts.append(
            f"Of these at night: {after.at_night}; looking false: {after.look_false}; "
            f"critical: {after.critical}."
        )
    return " ".join(parts)


def _calls(count: int) -> str:
    return {0: "no call", 1: "1 call"}.get(count, f"{count} calls")


def _notes(outcome: Outcome) -> Iterator[str]:
    """What one must know before trusting the figures."""
    if not outcome.readings:
        return
    if outcome.first_ms is not None and outcome.first_ms - outcome.start_ms > HOUR_MS:
        first = dt.datetime.fromtimestamp(outcome.first_ms / 1000, outcome.enclosure.zone_info)
        yield f"Readings begin at {first:%H:%M on %Y-%m-%d}."
    if outcome.unheard:
        yield f"No readings of {', '.join(outcome.unheard)}."
    if not outcome.watched:
        yield "No zone of a probe has a range: only silence is watched."
    if not outcome.sets[RAISED] and outcome.sets[UNCHANGED]:
        yield (
            "No alarm was raised in this span: dewkeep did not watch then, or the set-up was "
            "another one. Imported readings raise none."
        )
    if outcome.changed == outcome.enclosure:
        yield "The changed set-up is the one in force: nothing is different in this enclosure."
    elif outcome.changed is not None and _calibrations(outcome.changed) != _calibrations(
        outcome.enclosure
    ):
        yield "A changed calibration is not rehearsed: readings are taken as they were stored."
    if any(len(judged) > MOST_LISTED for judged in outcome.sets.values()):
        yield f"Of each set only the newest {MOST_LISTED} alarms are listed; the figures count all."


def _calibrations(enclosure: Enclosure) -> dict[str, object]:
    return {probe.id: probe.calibration for probe in enclosure.probe if probe.calibration}
