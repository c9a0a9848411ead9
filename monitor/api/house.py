"""The house that several daemons watch: what this one tells the others, and all of it as one."""

import json
from collections.abc import Sequence

from fastapi import APIRouter

from monitor import __version__
from monitor.alarms.model import Alarm
from monitor.alarms.notices import whereabouts
from monitor.alarms.wording import says
from monitor.api.access import MayView
from monitor.api.health import Check, readiness
from monitor.api.parts import GivenParts, Parts
from monitor.house.told import AlarmTold, Part, PlaceTold, ProbeTold, Told, TroubleTold, ValueTold
from monitor.house.whole import House, whole, worth_watching
from monitor.ingest import filing
from monitor.quantities import Quantity, unit_of
from monitor.setup.models import Enclosure, Probe, Setup
from monitor.store.readings import Latest
from monitor.store.sqlite.state import explanations

router = APIRouter(tags=["house"])


@router.get("/house")
def get_house(parts: GivenParts, _who: MayView) -> House:
    """Every enclosure and room, whoever watches it: unwatched ones first, then those with alarms.

    Waits for nobody: the other daemons are asked every few seconds, and what each said last counts.
    """
    return the_house(parts)[0]


@router.get("/house/own")
def get_own(parts: GivenParts, _who: MayView) -> Told:
    """What this daemon watches itself, for the other daemons of the house."""
    return _own(parts)[0]


def the_house(parts: Parts) -> tuple[House, Setup]:
    """The house as it is known here, and all that is set up."""
    own, placed = _own(parts)
    return whole(own, parts.peers.seen(), placed, parts.peers.begun_ms, own.at), placed


def _own(parts: Parts) -> tuple[Told, Setup]:
    share = parts.settings.share
    now_ms = parts.clock()
    with parts.database.reading() as connection:
        placed = parts.set_up(connection)
        alarms = [each for each in filing.open_alarms(connection) if share.has(each.point.place)]
        why = explanations.of(connection, [each.id for each in alarms])
    by_place: dict[str, list[Alarm]] = {}
    for alarm in alarms:
        by_place.setdefault(alarm.point.place, []).append(alarm)
    clocks = whereabouts(placed)
    values: dict[tuple[str, str], list[ValueTold]] = {}
    latest = parts.readings.latest()
    for key, series in parts.readings.known_series().items():
        if share.has(key.place) and (newest := latest.get(series)) is not None:
            values.setdefault((key.place, key.probe), []).append(_value(key.quantity, newest))

    def alarm_of(alarm: Alarm) -> AlarmTold:
        cause = json.loads(why[alarm.id])["cause"] if alarm.id in why else None
        return AlarmTold(
            id=alarm.id,
            probe=alarm.point.probe,
            zone=alarm.zone,
            quantity=alarm.point.quantity,
            condition=alarm.point.condition,
            priority=alarm.priority,
            state=alarm.state,
            since=alarm.since_ms,
            raised_at=alarm.raised_at_ms,
            returned_at=alarm.returned_at_ms,
            withdrawn_at=alarm.withdrawn_at_ms,
            acknowledged_at=alarm.acknowledged_at_ms,
            acknowledged_by=alarm.acknowledged_by,
            shelved_until=alarm.shelved_until_ms,
            suppressed_because=alarm.suppressed_because,
            value=alarm.value,
            limit=alarm.limit,
            says=says(alarm, clocks[alarm.point.place].zone, now_ms),
            cause=cause and cause["says"],
        )

    own = Told(
        daemon=parts.settings.broker.client_id,
        version=__version__,
        at=now_ms,
        share=share,
        troubles=_troubles(parts),
        places=tuple(
            PlaceTold(
                id=place.id,
                kind="enclosure" if isinstance(place, Enclosure) else "room",
                name=place.name,
                timezone=str(clocks[place.id].zone),
                alarms=tuple(map(alarm_of, by_place.get(place.id, ()))),
                probes=tuple(
                    _probe(each, values.get((place.id, each.id), ())) for each in place.probe
                ),
            )
            for place in worth_watching(placed.only(share.has))
        ),
    )
    return own, placed


def _probe(probe: Probe, values: Sequence[ValueTold]) -> ProbeTold:
    return ProbeTold(
        probe=probe.id,
        zone=probe.zone,
        silent_after_s=probe.silence_ms / 1000,
        values=tuple(values),
    )


def _value(quantity: Quantity, newest: Latest) -> ValueTold:
    return ValueTold(
        quantity=quantity,
        value=round(newest.value, 4),
        unit=unit_of(quantity),
        at=newest.at_ms,
        quality=newest.reason.quality,
        reason=newest.reason,
    )


def _troubles(parts: Parts) -> tuple[TroubleTold, ...]:
    found = readiness(parts)
    checks: tuple[tuple[Part, Check], ...] = (
        ("loop", found.loop),
        ("broker", found.broker),
        ("store", found.store),
        ("channels", found.channels),
    )
    return tuple(TroubleTold(part=part, says=check.says) for part, check in checks if not check.ok)
