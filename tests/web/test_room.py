"""The room page's view: the order of the enclosures, their titles, and the first sentence."""

import datetime as dt
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import pytest

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.documents.toml import parse
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.models import Setup, Zone
from monitor.store.readings import Latest, SeriesKey
from monitor.times import HOUR_MS
from monitor.web import words
from monitor.web.calls import Call, alarm_views
from monitor.web.cut import cut
from monitor.web.enclosure import EnclosureView, ribbon_probe
from monitor.web.known import Explanation, Known
from monitor.web.measure import Shape
from monitor.web.room import RoomView, room_view
from monitor.web.scenery import Scene, paths, picture
from tests.support.rig import LIBRARY
from tests.web.conftest import NIGHT_MS, enclosure


def alarm(place: str, state: State = State.UNACKNOWLEDGED, **more: Any) -> Alarm:
    """A canopy that is too dry since an hour."""
    point = PointKey(place, "canopy", Quantity.HUMIDITY, Condition.LOW)
    dry = Alarm(
        id=f"{point}.{NIGHT_MS}",
        point=point,
        zone=Zone.CANOPY,
        priority=Priority.WARNING,
        state=state,
        since_ms=NIGHT_MS - HOUR_MS,
        raised_at_ms=NIGHT_MS - HOUR_MS // 2,
        value=65.0,
        limit=70.0,
        extreme=64.0,
    )
    return replace(dry, **more)


def viewed(
    *places: dict[str, Any],
    alarms: tuple[Alarm, ...] = (),
    humidity: dict[str, float] | None = None,
    explanations: dict[str, Explanation] | None = None,
) -> RoomView:
    """The page for some enclosures; each canopy holds 80 % unless it is said otherwise."""
    setup = parse(Setup, {"enclosure": list(places)}, "test")
    values = {each.id: 80.0 for each in setup.enclosure} | (humidity or {})
    latest = {
        SeriesKey(place, "canopy", Quantity.HUMIDITY): Latest(NIGHT_MS, value, Reason.OK)
        for place, value in values.items()
    }
    return room_view(Known(NIGHT_MS, setup, LIBRARY, latest, alarms, explanations or {}))


def only(page: RoomView) -> EnclosureView:
    """The one enclosure of a page."""
    (place,) = page.places
    assert isinstance(place, EnclosureView)
    return place


def test_the_loudest_stands_first() -> None:
    """Critical, unseen, over unseen, seen, slipped, calm: in this order whatever the names."""
    names = ["calm", "slipped", "seen", "back", "today", "at-once"]
    page = viewed(
        *(enclosure(name, name) for name in names),
        alarms=(
            alarm("seen", State.ACKNOWLEDGED),
            alarm("back", State.RETURNED, returned_at_ms=NIGHT_MS),
            alarm("today"),
            alarm("at-once", priority=Priority.CRITICAL),
        ),
        humidity={"slipped": 60.0},
    )
    assert [place.id for place in page.places] == names[::-1]
    assert [place.call for place in page.places] == [
        Call.AT_ONCE,
        Call.TODAY,
        Call.BACK,
        Call.SEEN,
        Call.SLIPPED,
        Call.CALM,
    ]
    assert page.headline == "6 enclosures: at-once and today need a hand."


@pytest.mark.parametrize(
    ("calling", "back", "seen", "sentence"),
    [
        ([], [], [], "9 enclosures: none needs a hand."),
        (["A"], ["B"], ["C"], "9 enclosures: A needs a hand."),
        (list("ABCDEF"), [], [], "9 enclosures: A, B, C and 3 more need a hand."),
        ([], ["B"], ["C"], "9 enclosures: B is well again; see what happened."),
        ([], [], ["C", "D"], "9 enclosures: nothing new. You know about C and D."),
    ],
)
def test_the_first_sentence(
    calling: list[str], back: list[str], seen: list[str], sentence: str
) -> None:
    """How many, and which need a hand; what is less urgent only when nothing is more so."""
    assert words.headline(9, calling, back, seen) == sentence


def test_a_value_out_of_range_before_its_alarm_is_not_called_in_range() -> None:
    """During the on-delay the page says what is the matter and what will follow."""
    place = only(viewed(enclosure(), humidity={"cork-cube": 60.0}))
    assert place.title == "Out of range, no alarm yet"
    assert place.says == "Canopy humidity is too dry. An alarm follows if it stays so."


def test_the_explanation_is_that_of_the_loudest_that_has_one() -> None:
    """Two alarms of one crash share a cause: it is told once, from the graver alarm."""
    low = alarm("cork-cube")
    grave = alarm("cork-cube", id="grave", priority=Priority.CRITICAL)
    why = {low.id: Explanation("drying", ()), "grave": Explanation("water has left", ("lid",))}

    both = only(viewed(enclosure(), alarms=(low, grave), explanations=why))
    assert both.explanation == Explanation("water has left", ("lid",))
    unexplained = only(viewed(enclosure(), alarms=(low, grave)))
    assert unexplained.explanation is None


def test_inhabitants_go_by_their_trade_names() -> None:
    """A species without a profile goes by its id, and costs nobody the page."""
    inhabitants = [
        {"species": "correlophus-ciliatus"},
        {"species": "neoregelia", "count": 3},
        {"species": "gone-missing"},
    ]
    place = only(viewed(enclosure(inhabitant=inhabitants)))
    assert place.inhabitants == (
        "Crested gecko · Neoregelia bromeliad \N{MULTIPLICATION SIGN} 3 · gone-missing"
    )


def test_an_alarm_that_a_graver_one_covers_is_left_out() -> None:
    """Suppressed alarms are not shown; shelved ones say until when."""
    shown = alarm_views(
        [
            alarm("cork-cube", State.SUPPRESSED),
            alarm("cork-cube", State.SHELVED, shelved_until_ms=NIGHT_MS + HOUR_MS),
        ],
        dt.UTC,
        NIGHT_MS,
    )
    assert [(each.call, each.note, each.waits) for each in shown] == [
        (Call.SEEN, "Set aside until 04:12.", False)
    ]
    assert shown[0].title == "Too dry since 02:12"


def test_the_ribbon_follows_the_alarm() -> None:
    """A standing humidity alarm says whose humidity is drawn; else the topmost with a range."""
    probes = [{"id": zone, "zone": zone} for zone in ("floor", "canopy", "substrate")]
    (place,) = parse(Setup, {"enclosure": [enclosure(probe=probes)]}, "test").enclosure
    heard = {SeriesKey(place.id, probe.id, Quantity.HUMIDITY) for probe in place.probe}
    low = alarm(place.id)
    on_the_floor = replace(low, point=low.point._replace(probe="floor"), zone=Zone.FLOOR)
    over = replace(on_the_floor, returned_at_ms=NIGHT_MS, state=State.RETURNED)

    def chosen(*alarms: Alarm) -> str:
        probe = ribbon_probe(place, place.range, heard, alarms)
        assert probe is not None
        return probe.id

    assert chosen() == "canopy"
    assert chosen(on_the_floor) == "floor"
    assert chosen(over) == "canopy"
    assert ribbon_probe(place, place.range, set(), ()) is None


def test_the_cut_marks_what_is_watched() -> None:
    """Zones become pins, trouble is outlined."""
    zones = (
        (Zone.CANOPY, "canopy", Shape.BELOW),
        (Zone.SUBSTRATE, "substrate", Shape.INSIDE),
    )
    marked = cut(zones, 156)
    assert [pin.name for pin in marked.pins] == ["canopy", "substrate"]
    assert len(marked.troubled) == 1


def test_a_picture_shows_what_is_there_and_stays_itself() -> None:
    """Plants are leaves, crew is crew, twice the same is the same, and its version says so."""
    plants = ("ficus-pumila", "neoregelia", "epipremnum-aureum")
    planted = Scene("a", frozenset({Zone.CANOPY, Zone.SUBSTRATE}), plants, 1, lit=False)
    bare = planted._replace(plants=(), crew=0, lit=True)

    def kinds(scene: Scene) -> set[str]:
        return {path.kind.split()[0] for path in paths(scene)}

    picture.cache_clear()
    assert picture(planted) == picture(planted._replace())
    assert picture(planted) != picture(planted._replace(seed="b"))
    assert {"leaf", "litter", "crew"} <= kinds(planted)
    assert not {"leaf", "litter", "crew"} & kinds(bare)
    assert planted.version == planted._replace(seed="b").version
    assert len({planted.version, bare.version, planted._replace(lit=True).version}) == 3
    assert ElementTree.fromstring(picture(bare)).tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314
