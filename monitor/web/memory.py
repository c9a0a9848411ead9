"""What the room page remembers between two looks, so that only what has changed is made anew.

Everything here can be forgotten at any time: it only saves work.
"""

import sqlite3
from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

from markupsafe import Markup

from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Setup
from monitor.store.readings import SeriesKey
from monitor.times import MINUTE_MS
from monitor.web import words
from monitor.web.enclosure import EnclosureView, Glance, enclosure_view, glance
from monitor.web.known import Known, Past
from monitor.web.rendering import render
from monitor.web.ribbon import window_end
from monitor.web.room import RoomNotice
from monitor.web.viewer import Viewer

MOST = 5_000
"""So many things of a kind are remembered: one for each enclosure and way to read it."""

T = TypeVar("T")
SetUp = Callable[[sqlite3.Connection], Setup]


class Memory:
    """Remembers the set-up, what enclosures show, and their articles; ``has`` says what is ours."""

    def __init__(self, has: Callable[[str], bool], everything: SetUp) -> None:
        self._has = has
        self._everything = everything
        self._ours: tuple[Setup, Setup] | None = None
        self._views: _Last[EnclosureView] = _Last()
        self._articles: _Last[Markup] = _Last()
        self._glances: _Last[Glance] = _Last()

    def setup(self, connection: sqlite3.Connection) -> Setup:
        """What is ours of the set-up; sorted out anew when it has changed."""
        placed, ours = self._everything(connection), self._ours
        if ours is None or ours[0] is not placed:
            self._ours = ours = (placed, placed.only(self._has))
        return ours[1]

    def view(self, enclosure: Enclosure, known: Known) -> EnclosureView:
        """What there is to show of an enclosure; made anew when anything of it has changed."""
        key, facts = (enclosure.id, known.units), _facts(enclosure, known)
        view = self._views.get(key, facts)
        return view or self._views.keep(key, facts, enclosure_view(enclosure, known))

    def glance(self, enclosure: Enclosure, known: Known) -> Glance:
        """How an enclosure is, in a few words; found out anew when anything of it has changed."""
        key, facts = (enclosure.id, known.units), _facts(enclosure, known)
        kept = self._glances.get(key, facts)
        return kept or self._glances.keep(key, facts, glance(enclosure, known))

    def article(self, each: RoomNotice | EnclosureView, viewer: Viewer) -> Markup:
        """The article of a place; one with a form in it is always new, for it carries a proof."""
        if isinstance(each, RoomNotice) or any(alarm.waits for alarm in each.alarms):
            return _article(each, viewer)
        key, facts = (each.id, viewer.units), each
        return self._articles.get(key, facts) or self._articles.keep(
            key, facts, _article(each, viewer)
        )


class _Last(Generic[T]):
    """For each key the last thing that was made, and the facts it was made from."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: OrderedDict[Hashable, tuple[object, T]] = OrderedDict()

    def get(self, key: Hashable, facts: object) -> T | None:
        """What was made from these very facts."""
        kept = self._kept.get(key)
        return kept[1] if kept is not None and kept[0] == facts else None

    def keep(self, key: Hashable, facts: object, made: T) -> T:
        """Remember it in place of what was made before."""
        with self._lock:
            self._kept[key] = (facts, made)
            while len(self._kept) > MOST:
                self._kept.popitem(last=False)
        return made


def _facts(enclosure: Enclosure, known: Known) -> object:
    """All that what an enclosure shows is made from; of the time, only what shows."""
    now_ms = known.now_ms
    alarms = known.of_place.get(enclosure.id, ())
    lamp = Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)
    readings = [
        (probe, known.latest.get(SeriesKey(enclosure.id, probe.id, quantity)))
        for probe in enclosure.probe
        for quantity in words.QUANTITIES
    ]
    return (
        enclosure,
        window_end(now_ms),
        lamp.segment(now_ms).day,
        now_ms // MINUTE_MS if alarms else None,
        [(each, each and now_ms - each.at_ms > probe.silence_ms) for probe, each in readings],
        alarms,
        [known.explanations.get(alarm.id) for alarm in alarms],
        _course(known.past.get(enclosure.id)),
    )


def _course(past: Past | None) -> object:
    if past is None:
        return None
    columns = past.humidity.at_ms, past.humidity.mean, past.humidity.low, past.humidity.high
    return past.probe, past.mistings, tuple(column.tobytes() for column in columns)


def _article(each: RoomNotice | EnclosureView, viewer: Viewer) -> Markup:
    # Markup of our own template, in which every name was escaped.
    return Markup(render("article.html", each=each, viewer=viewer))  # noqa: S704
