"""One enclosure as the room page shows it: words first, then what they rest on."""

import datetime as dt
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from monitor.alarms.model import Alarm
from monitor.errors import NotFound
from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Probe, Zone, ZoneRange
from monitor.setup.ranges import ranges_of
from monitor.species.library import Library
from monitor.species.profile import Kind, Profile
from monitor.store.readings import SeriesKey
from monitor.web import words
from monitor.web.calls import AlarmView, Call, alarm_views
from monitor.web.cut import Cut, cut
from monitor.web.known import Explanation, Known
from monitor.web.measure import Measure, Shape, measure
from monitor.web.ribbon import Ribbon, ribbon
from monitor.web.scenery import Scene

Ranges = Mapping[Zone, ZoneRange]


@dataclass(frozen=True, slots=True)
class Stratum:
    """One probe: the name of its place and its live values, or what to do to get some."""

    name: str
    zone: Zone
    shape: Shape
    measures: tuple[Measure, ...]
    hint: str | None


@dataclass(frozen=True, slots=True)
class EnclosureView:
    """One enclosure; without alarms ``title`` and ``says`` tell how it is.

    ``explanation`` is that of the loudest alarm that has one: others of one night have the same.
    """

    id: str
    name: str
    inhabitants: str
    lights: str
    call: Call
    shape: Shape
    title: str
    says: str | None
    alarms: tuple[AlarmView, ...]
    explanation: Explanation | None
    strata: tuple[Stratum, ...]
    scenery: str
    """The address of its picture."""
    cut: Cut
    ribbon: Ribbon | None


@dataclass(frozen=True, slots=True)
class Glance:
    """A place in a few words; without alarms ``title`` and ``says`` tell how it is."""

    call: Call
    shape: Shape
    title: str
    says: str | None
    alarms: tuple[AlarmView, ...]
    strata: tuple[Stratum, ...]


def glance(enclosure: Enclosure, known: Known) -> Glance:
    """How an enclosure is, without its pictures."""
    daylight = Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)
    strata = _strata(enclosure, ranges_at(enclosure, known.library, known.now_ms), daylight, known)
    alarms = alarm_views(known.of_place.get(enclosure.id, ()), enclosure.zone_info, known.now_ms)
    state = _state(strata, alarms, None)
    return Glance(state.call, state.shape, state.title, state.says, alarms, strata)


def enclosure_view(enclosure: Enclosure, known: Known) -> EnclosureView:
    """All there is to show of an enclosure."""
    now_ms = known.now_ms
    daylight = Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)
    lit = daylight.segment(now_ms).day
    ranges = ranges_at(enclosure, known.library, now_ms)
    strata = _strata(enclosure, ranges, daylight, known)
    alarms = alarm_views(known.of_place.get(enclosure.id, ()), enclosure.zone_info, now_ms)
    drawn = _ribbon(enclosure, ranges, daylight, known)
    state = _state(strata, alarms, drawn)
    profiles = _profiles(enclosure, known.library)
    scene = _scene(enclosure, profiles, lit=lit)
    return EnclosureView(
        id=enclosure.id,
        name=enclosure.name,
        inhabitants=_inhabitants(enclosure, profiles),
        lights=words.LIGHTS[lit],
        call=state.call,
        shape=state.shape,
        title=state.title,
        says=state.says,
        alarms=alarms,
        explanation=next(
            (known.explanations[a.id] for a in alarms if a.id in known.explanations), None
        ),
        strata=strata,
        scenery=address_of(scene),
        cut=cut(tuple((each.zone, each.name, each.shape) for each in strata), scene.ground),
        ribbon=drawn,
    )


def ranges_at(enclosure: Enclosure, library: Library, now_ms: int) -> Ranges:
    """What its zones should hold today; its own ranges alone where a profile is missing."""
    today = dt.datetime.fromtimestamp(now_ms / 1000, enclosure.zone_info).date()
    try:
        return ranges_of(enclosure, library, today)
    except NotFound:
        return enclosure.range


def ribbon_probe(
    enclosure: Enclosure, ranges: Ranges, heard: Collection[SeriesKey], alarms: Iterable[Alarm]
) -> Probe | None:
    """Whose humidity the ribbon shows: one out of range, else one with a range, else any.

    ``alarms`` are those of the enclosure.
    """
    calling = {
        alarm.point.probe
        for alarm in alarms
        if alarm.standing and alarm.point.quantity is Quantity.HUMIDITY
    }

    def rank(probe: Probe) -> tuple[bool, bool, int]:
        wanted = ranges.get(probe.zone, ZoneRange())
        return (
            probe.id not in calling,
            not (wanted.day.humidity or wanted.night.humidity),
            words.TOP_DOWN.index(probe.zone),
        )

    candidates = (
        probe
        for probe in enclosure.probe
        if SeriesKey(enclosure.id, probe.id, Quantity.HUMIDITY) in heard
    )
    return min(candidates, key=rank, default=None)


def scene_of(enclosure: Enclosure, library: Library, *, lit: bool) -> Scene:
    """What there is to draw of an enclosure."""
    return _scene(enclosure, _profiles(enclosure, library), lit=lit)


def address_of(scene: Scene) -> str:
    """Where the picture of a scene is served, for as long as it stays the same."""
    return f"/enclosures/{scene.seed}/{'day' if scene.lit else 'night'}.svg?v={scene.version}"


def _scene(enclosure: Enclosure, profiles: Mapping[str, Profile], *, lit: bool) -> Scene:
    return Scene(
        seed=enclosure.id,
        watched=frozenset(probe.zone for probe in enclosure.probe),
        plants=_of_kind(profiles, Kind.PLANT),
        crew=len(_of_kind(profiles, Kind.CREW)),
        lit=lit,
    )


def _profiles(enclosure: Enclosure, library: Library) -> dict[str, Profile]:
    species = (each.species for each in enclosure.inhabitant)
    return {each: library.profile(each) for each in species if each in library}


def _of_kind(profiles: Mapping[str, Profile], kind: Kind) -> tuple[str, ...]:
    return tuple(species for species, profile in profiles.items() if profile.kind is kind)


def _inhabitants(enclosure: Enclosure, profiles: Mapping[str, Profile]) -> str:
    names = []
    for each in enclosure.inhabitant:
        name = profiles[each.species].name if each.species in profiles else each.species
        names.append(words.SEVERAL.format(name, each.count) if (each.count or 1) > 1 else name)
    return words.BETWEEN.join(names) or words.NOBODY


def _strata(
    enclosure: Enclosure, ranges: Ranges, daylight: Daylight, known: Known
) -> tuple[Stratum, ...]:
    probes = sorted(enclosure.probe, key=lambda probe: words.TOP_DOWN.index(probe.zone))
    zones = [probe.zone for probe in probes]
    strata = []
    for probe in probes:
        name, topic = words.ZONES[probe.zone], words.topic(enclosure.id, probe)
        measures = tuple(_measures(enclosure, probe, ranges.get(probe.zone), daylight, known))
        strata.append(
            Stratum(
                name=words.ONE_OF.format(name, probe.id) if zones.count(probe.zone) > 1 else name,
                zone=probe.zone,
                shape=_worst(measures),
                measures=measures,
                hint=None if measures else words.UNHEARD.format(topic),
            )
        )
    return tuple(strata)


def _measures(
    enclosure: Enclosure,
    probe: Probe,
    wanted: ZoneRange | None,
    daylight: Daylight,
    known: Known,
) -> Iterator[Measure]:
    for quantity in words.QUANTITIES:
        reading = known.latest.get(SeriesKey(enclosure.id, probe.id, quantity))
        if reading is not None:
            yield measure(quantity, reading, wanted, probe, daylight, known.now_ms, known.units)


def _worst(measures: Sequence[Measure]) -> Shape:
    """How a zone stands: out of range before in range before not to be said."""
    shapes = [each.shape for each in measures]
    return next(
        (shape for shape in (Shape.BELOW, Shape.ABOVE, Shape.INSIDE) if shape in shapes),
        Shape.UNSURE,
    )


def _ribbon(
    enclosure: Enclosure, ranges: Ranges, daylight: Daylight, known: Known
) -> Ribbon | None:
    past = known.past.get(enclosure.id)
    if past is None:
        return None
    return ribbon(
        words.ZONES[past.probe.zone],
        past.humidity,
        past.probe.period_s,
        past.mistings,
        ranges.get(past.probe.zone),
        daylight,
        known.now_ms,
    )


class _State(NamedTuple):
    """How loudly an enclosure calls, with its mark, a title and a sentence."""

    call: Call
    shape: Shape
    title: str
    says: str | None


def _state(strata: Sequence[Stratum], alarms: Sequence[AlarmView], drawn: Ribbon | None) -> _State:
    night = None if drawn is None else drawn.says
    if alarms:
        return _State(alarms[0].call, alarms[0].shape, alarms[0].title, night)
    if not strata:
        return _State(Call.UNKNOWN, Shape.UNSURE, words.NO_PROBE_TITLE, words.NO_PROBE)
    measures = [(stratum, each) for stratum in strata for each in stratum.measures]
    if not measures:
        return _State(Call.UNKNOWN, Shape.UNSURE, words.UNHEARD_TITLE, None)
    beyond = [(stratum, each) for stratum, each in measures if each.beyond]
    if beyond:
        what = words.listed([words.SLIPPED.format(s.name, m.name, m.says) for s, m in beyond])
        says = words.SLIPPED_SAYS.format(words.capital(what))
        return _State(Call.SLIPPED, beyond[0][1].shape, words.SLIPPED_TITLE, says)
    if any(each.shape is Shape.INSIDE for _, each in measures):
        return _State(Call.CALM, Shape.INSIDE, words.IN_RANGE_TITLE, night)
    if any(each.bar for _, each in measures):
        return _State(Call.UNKNOWN, Shape.UNSURE, words.QUIET_TITLE, words.QUIET)
    return _State(Call.UNKNOWN, Shape.UNSURE, words.NOT_JUDGED_TITLE, words.NOT_JUDGED)
