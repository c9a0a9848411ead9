"""The set-up file: what is refused and how, and that writing and reading are inverse."""

import datetime as dt
import tomllib
from pathlib import Path
from typing import TypeVar
from zoneinfo import available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.documents.toml import parse
from monitor.errors import SettingsError
from monitor.quantities import MEASURED
from monitor.setup.file import dump_setup, load_setup
from monitor.setup.models import (
    Correction,
    Enclosure,
    HasId,
    Inhabitant,
    Probe,
    Room,
    RoomProbe,
    Setup,
    Span,
    Spans,
    Zone,
    ZoneRange,
)
from monitor.species.library import load_library
from monitor.species.ranges import RANGED

LIBRARY = load_library()
T = TypeVar("T", bound=HasId)

GOOD = """
[[room]]
id = "back-room"
name = "Back room"
  [[room.probe]]
  id = "air"
  period_s = 60

[[enclosure]]
id = "cork-cube"
name = "Cork cube"
room = "back-room"
timezone = "Europe/Lisbon"
lights_on = "08:00"
lights_off = 20:30:00
volume_l = 90
built_on = 2026-10-01
  [[enclosure.probe]]
  id = "canopy"
  zone = "canopy"
  period_s = 30
  [[enclosure.probe]]
  id = "floor"
  zone = "floor"
  calibration = { humidity = { offset = -1.5, gain = 1.02 } }
  [[enclosure.inhabitant]]
  species = "correlophus-ciliatus"
  since = 2026-11-20
  [enclosure.range.canopy]
  day = { temperature = [22, 26], humidity = [60, 80] }
  night = { temperature = [20, 24], humidity = [70, 95] }
  critical = { temperature = [10, 32], humidity = [35, 100] }
"""


def _load(tmp_path: Path, text: str) -> Setup:
    path = tmp_path / "enclosures.toml"
    path.write_text(text, encoding="utf-8")
    return load_setup(path, LIBRARY)


def test_a_set_up_is_read_as_written(tmp_path: Path) -> None:
    """Spans from pairs, times from text or TOML times, the room's probe in the room."""
    setup = _load(tmp_path, GOOD)

    (enclosure,) = setup.enclosure
    assert setup.room[0].probe[0].zone is Zone.ROOM
    assert enclosure.lights_on == dt.time(8)
    assert enclosure.lights_off == dt.time(20, 30)
    assert enclosure.zone_info.key == "Europe/Lisbon"
    assert enclosure.probe[1].calibration == {"humidity": Correction(offset=-1.5, gain=1.02)}
    assert enclosure.inhabitant == (
        Inhabitant(species="correlophus-ciliatus", since=dt.date(2026, 11, 20)),
    )
    assert enclosure.range[Zone.CANOPY].night.humidity == Span(low=70, high=95)


@pytest.mark.parametrize(
    ("right", "wrong", "says"),
    [
        (
            "[60, 80]",
            "[80, 60]",
            r"\[cork-cube\].range.canopy.day.humidity: reversed range \[80, 60\]: write the lower",
        ),
        (
            "[60, 80]",
            "[60, 120]",
            r"day.humidity: \[60, 120\] reaches outside what a probe can measure \(0 to 100 %RH\)",
        ),
        ("[60, 80]", "[60]", r"day.humidity: write two numbers: \[lowest, highest\]"),
        ("[60, 80]", "60", r"day.humidity: must be two numbers: \[lowest, highest\], not 60"),
        (
            "[60, 80]",
            "[20, 80]",
            r"canopy.day.humidity: \[20, 80\] reaches beyond the critical range \[35, 100\]",
        ),
        ("humidity = [60", "humid = [60", r"canopy.day.humid: unknown key; did you mean 'humid"),
        ("[22, 26]", "[inf, nan]", r"canopy.day.temperature: must be two numbers: .* not inf"),
        (
            'zone = "canopy"',
            'zone = "canpy"',
            r"\[cork-cube\].probe\[canopy\].zone: must be one of basking, .* did you mean 'canopy'",
        ),
        ("range.canopy]", "range.attic]", "range.attic: must be one of basking, .* not 'attic'"),
        ("range.canopy]", "range.room]", "range.room: 'room' is the air outside the enclosure"),
        ('zone = "floor"', 'zone = "room"', r"probe\[floor\].zone: .* write this .*room.probe"),
        ('id = "air"', 'id = "air"\nzone = "floor"', r"room\[back-room\].probe\[air\].zone: must"),
        (
            '"correlophus-ciliatus"',
            '"correlophus-cilatus"',
            r"\[correlophus-cilatus\].species: no species profile .* mean 'correlophus-ciliatus'",
        ),
        ('id = "floor"', 'id = "canopy"', r"probe\[canopy\].id: two of them have the id 'canopy'"),
        ('id = "cork-cube"', 'id = "back-room"', r"\[back-room\].id: a room has the id"),
        (
            'room = "back-room"',
            'room = "bakroom"',
            r"enclosure\[cork-cube\].room: no \[\[room\]\] has the id 'bakroom'; did you mean",
        ),
        (
            '"Europe/Lisbon"',
            '"Europe/Lisboa"',
            "timezone: 'Europe/Lisboa' is no IANA time zone, .* did you mean 'Europe/Lisbon'",
        ),
        ('"08:00"', "8", r"lights_on: must be a time of day such as \"08:00\", not 8"),
        ('"08:00"', '"8 am"', r"lights_on: must be a time of day such as \"08:00\", not '8 am'"),
        ('"08:00"', '"08:00Z"', "lights_on: write the time on the wall clock, without an offset"),
        ("2026-10-01", '"October"', "built_on: must be a date such as 2026-10-01, not 'October'"),
        ("period_s = 30", "period_s = 0", "period_s: must be a number above 0 and at most 86400"),
        ("period_s = 30", "perid_s = 30", "perid_s: unknown key; did you mean 'period_s'"),
        ("volume_l = 90", "volume_l = -1", "volume_l: must be a number above 0, not -1"),
        ("gain = 1.02", "gain = 5", "calibration.humidity.gain: must be a number from 0.8 to 1.25"),
        ("{ humidity = {", "{ dew_point = {", "calibration.dew_point: is derived, not measured"),
        ('name = "Cork cube"\n', "", r"\[cork-cube\].name: is missing; write a name"),
        ('"Cork cube"', '"Cork\\ncube"', r"name: must be a name .* on one line, not 'Cork\\ncube'"),
        ("[[enclosure]]", "[[enclosures]]", "enclosures: unknown key; did you mean 'enclosure'"),
        ("volume_l = 90", "volume_l 90", "line 16: is no TOML"),
    ],
)
def test_a_mistake_is_told_at_its_key(tmp_path: Path, right: str, wrong: str, says: str) -> None:
    """File, key, and what would be right."""
    assert right in GOOD

    with pytest.raises(SettingsError, match=rf"enclosures\.toml: .*{says}"):
        _load(tmp_path, GOOD.replace(right, wrong, 1))


@pytest.mark.parametrize("letter", ["/", "+", "#", "$", " ", "ä", ".", ""])
def test_an_id_holds_nothing_that_a_topic_reserves(tmp_path: Path, letter: str) -> None:
    """Ids become levels of MQTT topics and parts of addresses."""
    text = GOOD.replace('id = "cork-cube"', f'id = "{letter}"')

    with pytest.raises(SettingsError, match=r"id: must be an id of 1 to 64 letters .* / \+ # \$"):
        _load(tmp_path, text)


def test_two_enclosures_need_two_ids(tmp_path: Path) -> None:
    """Readings of two enclosures of one id could not be told apart."""
    text = GOOD + '\n[[enclosure]]\nid = "cork-cube"\nname = "Other"\n'

    with pytest.raises(SettingsError, match=r"enclosure\[cork-cube\].id: two of them have the id"):
        _load(tmp_path, text)


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """A file is mended in one go."""
    text = GOOD.replace("[60, 80]", "[80, 60]").replace("= 90", "= 0").replace('"floor"', '"flor"')

    with pytest.raises(SettingsError) as refusal:
        _load(tmp_path, text)

    assert [problem.key for problem in refusal.value.problems] == [
        "enclosure[cork-cube].volume_l",
        "enclosure[cork-cube].probe[flor].zone",
        "enclosure[cork-cube].range.canopy.day.humidity",
    ]


def test_a_written_set_up_is_readable(tmp_path: Path) -> None:
    """Spans stand on one line, whole numbers without a point, defaults are left out."""
    text = dump_setup(_load(tmp_path, GOOD))

    assert "temperature = [22, 26]\n" in text
    assert 'lights_off = "20:30"\n' in text
    assert "built_on = 2026-10-01\n" in text
    assert "lights_on" not in text
    assert dump_setup(_load(tmp_path, text)) == text


ids = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_-]{0,12}", fullmatch=True)
names = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=30
).filter(lambda name: bool(name.strip()))
numbers = st.floats(0.1, 1e4) | st.integers(1, 10_000).map(float)
dates = st.none() | st.dates()
times = st.times()


@st.composite
def spans(draw: st.DrawFn, low: float, high: float) -> Span:
    """A span of one quantity."""
    edges = st.floats(low, high) | st.integers(int(low), int(high)).map(float)
    a, b = sorted(draw(st.lists(edges, min_size=2, max_size=2, unique=True)))
    return Span(low=a, high=b)


all_spans = st.fixed_dictionaries(
    {},
    optional={
        quantity.value: spans(MEASURED[quantity].lowest, MEASURED[quantity].highest)
        for quantity in RANGED
    },
).map(Spans.model_validate)
zones = st.sampled_from([zone for zone in Zone if zone is not Zone.ROOM])
zone_ranges = st.builds(ZoneRange, day=all_spans, night=all_spans)
corrections = st.builds(Correction, offset=st.floats(-50, 50), gain=st.floats(0.8, 1.25))
probe_keys = {
    "id": ids,
    "period_s": numbers,
    "silent_after_s": st.none() | numbers,
    "calibration": st.dictionaries(st.sampled_from(list(MEASURED)), corrections, max_size=2),
}


def _some(things: st.SearchStrategy[T]) -> st.SearchStrategy[tuple[T, ...]]:
    return st.lists(things, max_size=3, unique_by=lambda thing: thing.id).map(tuple)


enclosures = st.builds(
    Enclosure,
    id=ids.map(lambda text: f"e{text}"),
    name=names,
    timezone=st.sampled_from(sorted(available_timezones())),
    lights_on=times,
    lights_off=times,
    volume_l=st.none() | numbers,
    built_on=dates,
    probe=_some(st.builds(Probe, zone=zones, **probe_keys)),
    inhabitant=st.lists(
        st.builds(Inhabitant, species=ids, count=st.none() | st.integers(1, 99), since=dates),
        max_size=2,
    ).map(tuple),
    range=st.dictionaries(zones, zone_ranges, max_size=2)
    | st.dictionaries(zones, st.builds(ZoneRange, critical=all_spans), max_size=2),
)
rooms = st.builds(
    Room,
    id=ids.map(lambda text: f"r{text}"),
    name=names,
    probe=_some(st.builds(RoomProbe, **probe_keys)),
)
setups = st.builds(Setup, room=_some(rooms), enclosure=_some(enclosures))


@given(setup=setups)
def test_what_is_written_reads_back_the_same(setup: Setup) -> None:
    """Reading undoes writing, and writing again changes nothing."""
    text = dump_setup(setup)
    again = parse(Setup, tomllib.loads(text), "again.toml")

    assert again == setup
    assert dump_setup(again) == text
