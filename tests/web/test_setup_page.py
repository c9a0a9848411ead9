"""The set-up by form: a house without any TOML; mistakes are told beside their fields."""

import html
import re
from pathlib import Path

import pytest

from monitor.errors import Conflict
from monitor.ingest.link import Message
from monitor.ingest.rejects import Reject
from monitor.setup.models import Room
from monitor.store.sqlite.state.tokens import Scope
from tests.support.publisher import senml
from tests.web.conftest import NIGHT_MS, Fields, MakeShow, Show, enclosure

NEW = "/setup/enclosures/-new"
FORM = "/setup/enclosures/cork-cube"
API = "/api/v1/enclosures/cork-cube"
PROBE = {"id": "canopy", "zone": "canopy"}


@pytest.fixture
def empty(make_show: MakeShow) -> Show:
    """A house without anything in it."""
    return make_show({})


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """One enclosure with a gecko, a range, and what the form does not ask."""
    probes = [
        {
            "id": "canopy",
            "zone": "canopy",
            "silent_after_s": 900,
            "calibration": {"humidity": {"offset": 1.5}},
        },
        {"id": "floor", "zone": "floor"},
    ]
    furnished = enclosure(probe=probes, inhabitant=[{"species": "correlophus-ciliatus"}])
    furnished["range"]["canopy"]["day"]["substrate_moisture"] = [10, 60]
    return make_show({"room": [{"id": "back", "name": "Back"}], "enclosure": [furnished]})


def fields_of(page: str) -> dict[str, str]:
    """All that the form of a page would send, unchanged."""
    form = page[page.index('<form class="wide"') : page.index("</form>")]
    found = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name:
            found[name[1]] = html.unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        found[name] = chosen[1] if chosen else re.findall(r'value="([^"]*)"', options)[0]
    return found


def send(show: Show, address: str, changes: Fields = (), do: str = "save") -> tuple[int, str]:
    """Change some fields of the form at an address and send it; status, and page or location."""
    fields = fields_of(show.get(address).text) | dict(changes) | {"do": do}
    answer = show.post(address.partition("?")[0], fields.items())
    return answer.status_code, answer.headers.get("location", html.unescape(answer.text))


def test_from_nothing_to_a_reading(empty: Show) -> None:
    """A new enclosure by form is in force at once: its probe is heard, the first steps are gone."""
    page = empty.get("/setup").text
    assert page.count("Not yet.") == 3
    status, location = send(
        empty,
        NEW,
        {
            "name": "Cork cube",
            "id": "cork-cube",
            "timezone": "Europe/Lisbon",
            "probe-0-id": "canopy",
            "probe-0-zone": "canopy",
            "inhabitant-0-species": "correlophus-ciliatus",
            "inhabitant-0-count": "2",
        }.items(),
    )
    assert (status, location) == (303, "/enclosures/cork-cube")
    made = empty.get(API).json()
    assert (made["probe"][0]["zone"], made["inhabitant"][0]["count"]) == ("canopy", 2)

    message = Message("dewkeep/cork-cube/canopy", senml(NIGHT_MS / 1000, 22.0, 80.0), 0, 0, 0)
    empty.ask(lambda pipeline, now_ms: pipeline.take([message], now_ms))
    assert "80&nbsp;%" in empty.page()
    page = empty.get("/setup").text
    assert "First steps" not in page
    assert "At each start" not in page


def test_keeping_it_unchanged_changes_nothing(show: Show) -> None:
    """What is shown and kept again is the same, to what the form does not even ask."""
    before = show.get(API)
    status, location = send(show, FORM)
    assert (status, location) == (303, "/enclosures/cork-cube")
    after = show.get(API)
    assert after.json() == before.json()
    assert after.headers["etag"] == before.headers["etag"]


def test_in_fahrenheit_nothing_drifts(show: Show) -> None:
    """Ranges are asked in the viewer's unit and kept in ours; keeping them moves no limit."""
    show.cookies.set("dewkeep_view", "F.kPa.auto")
    before = show.get(API).json()
    assert fields_of(show.get(FORM).text)["range-canopy-day-temperature-low"] == "68"
    assert send(show, FORM)[0] == 303
    assert show.get(API).json() == before


def test_a_range_of_ones_own_is_kept_and_taken_back(show: Show) -> None:
    """Both ends make a range; emptied ones are gone."""
    low, high = "range-floor-night-humidity-low", "range-floor-night-humidity-high"
    send(show, FORM, {low: "72,5", high: "99"}.items())
    assert show.get(API).json()["range"]["floor"]["night"]["humidity"] == [72.5, 99]
    send(show, FORM, {low: "", high: ""}.items())
    assert "floor" not in show.get(API).json()["range"]


def test_a_probe_is_added_renamed_and_taken_out(show: Show) -> None:
    """Its calibration stays with a probe that is renamed; an emptied row is taken out."""
    send(show, FORM, {"probe-0-id": "top", "probe-1-id": "", "probe-2-id": "soil"}.items())
    probes = show.get(API).json()["probe"]
    assert [each["id"] for each in probes] == ["top", "soil"]
    assert probes[0]["calibration"]["humidity"]["offset"] == 1.5


@pytest.mark.parametrize(
    ("changes", "name", "says"),
    [
        ({"name": " "}, "name", "a name of 1 to 120"),
        ({"timezone": "Europe/Lisbonn"}, "timezone", "Europe/Lisbon"),
        ({"volume_l": "much"}, "volume_l", "number"),
        ({"lights_on": "25:00"}, "lights_on", "a time of day"),
        ({"probe-1-id": "canopy"}, "probe-1-id", "two of them have the id"),
        ({"probe-1-id": "a/b"}, "probe-1-id", "an id of 1 to 64 letters"),
        ({"probe-0-period_s": "0"}, "probe-0-period_s", "0"),
        ({"inhabitant-0-count": "-1"}, "inhabitant-0-count", "1"),
        ({"range-canopy-day-humidity-low": "99"}, "range-canopy-day-humidity-low", "lower"),
        ({"range-canopy-day-humidity-low": ""}, "range-canopy-day-humidity-low", "write both"),
        ({"range-canopy-day-humidity-low": "x"}, "range-canopy-day-humidity-low", "number"),
        ({"room": "attic"}, "", "attic"),
    ],
)
def test_a_mistake_is_told_beside_its_field(
    show: Show, changes: dict[str, str], name: str, says: str
) -> None:
    """Nothing is kept, everything filled in stays, and the field says what would be right."""
    before = show.get(API).json()
    status, page = send(show, FORM, changes.items())
    assert status in (409, 422)
    assert show.get(API).json() == before
    told = re.search(rf'<p id="{name}-wrong" class="wrong">([^<]*)</p>', page) if name else None
    assert says in (told[1] if told else page)
    for field, text in changes.items():
        if field != "room":
            assert fields_of(page)[field] == text.strip()


def test_who_gets_on_is_told_while_choosing(show: Show) -> None:
    """Looking keeps nothing: it tells who gets on, and offers first what fits the animal."""
    changes = {"inhabitant-1-species": "pogona-vitticeps"}
    status, page = send(show, FORM, changes.items(), do="look")
    assert status == 200
    assert "must be kept apart" in page
    assert len(show.get(API).json()["inhabitant"]) == 1
    page = show.get(FORM).text
    assert "has it to itself" in page
    assert page.index('label="Fits those chosen best"') < page.index('label="Animals"')
    fields = fields_of(page) | {"add": "ficus-pumila"}
    page = show.post(FORM, fields.items()).text
    assert "Crested gecko and Creeping fig get on." in page
    assert fields_of(page)["inhabitant-1-species"] == "ficus-pumila"


def test_somebody_elses_change_is_not_undone(show: Show) -> None:
    """Two keepers change it at once: the second is told, and keeps what was filled in."""
    fields = fields_of(show.get(FORM).text) | {"name": "Mine", "do": "save"}
    send(show, FORM, {"name": "Theirs"}.items())
    answer = show.post(FORM, fields.items())
    assert answer.status_code == 409
    assert "was changed or removed since" in answer.text
    assert fields_of(answer.text)["name"] == "Mine"
    assert show.get(API).json()["name"] == "Theirs"


def test_an_id_that_is_taken_is_told(show: Show) -> None:
    """A new enclosure does not take the place of another."""
    status, page = send(show, NEW, {"name": "Other", "id": "cork-cube"}.items())
    assert status == 409
    assert "is set up already" in page
    assert show.get(API).json()["name"] == "Cork cube"


def test_who_reports_unknown_is_set_up_by_a_click(show: Show) -> None:
    """A topic that nobody is set up for leads to a form that has its names filled in."""
    for topic in ("dewkeep/cork-cube/cool", "dewkeep/mossy-jar/floor", "rack/0x07"):
        show.rejects.add(Reject(NIGHT_MS, topic, "unknown", f"{topic} is nobody's"))
    page = html.unescape(show.get("/setup").text)
    assert "<bdi>rack/0x07</bdi>" in page
    assert 'href="/setup/enclosures/cork-cube?probe=cool"' in page
    assert send(show, "/setup/enclosures/cork-cube?probe=cool")[0] == 303
    assert [each["zone"] for each in show.get(API).json()["probe"]] == ["canopy", "floor", "cool"]
    status, location = send(show, f"{NEW}?place=mossy-jar&probe=floor")
    assert (status, location) == (303, "/enclosures/mossy-jar")
    made = show.get("/api/v1/enclosures/mossy-jar").json()
    assert (made["name"], made["room"], made["timezone"]) == ("Mossy jar", "back", "Europe/Lisbon")


RACK = {"source": [{"topic": "dewkeep/{enclosure}/{probe}"}, {"topic": "rack/{device}/state"}]}


@pytest.fixture
def rack(make_show: MakeShow) -> Show:
    """A room and an enclosure, and devices that publish under names of their own."""
    air = {"id": "air", "device": "0x05"}
    room = {"id": "back", "name": "Back", "probe": [air]}
    return make_show({"room": [room], "enclosure": [enclosure()]}, settings=RACK)


def test_a_device_is_one_click_and_a_name_away(rack: Show) -> None:
    """Which probe it is can be any that is there or a new one; then it is heard as that one."""
    topic = "rack/0x07 & <co>/state"
    message = Message(topic, senml(NIGHT_MS / 1000, 22.0, 80.0), 0, 0, 0)
    rack.ask(lambda pipeline, now_ms: pipeline.take([message], now_ms))
    page = rack.get("/setup").text
    assert "<bdi>rack/0x07 &amp; &lt;co&gt;/state</bdi>" in page
    link = re.search(r'href="(/setup/device[^"]*)">This is a probe of …', page)
    assert link
    question = html.unescape(rack.get(html.unescape(link[1])).text)
    offered = re.findall(r'href="(/setup/(?:enclosures|rooms)/[^"]*)"', question)
    asked = "device=0x07%20%26%20%3Cco%3E"
    assert offered == [
        f"/setup/enclosures/cork-cube?probe=canopy&{asked}#probe-0-id",
        f"/setup/enclosures/cork-cube?{asked}#probe-1-id",
        f"/setup/rooms/back?probe=air&{asked}#probe-0-id",
        f"/setup/rooms/back?{asked}#probe-1-id",
        f"/setup/enclosures/-new?{asked}",
        f"/setup/rooms/-new?{asked}",
    ]
    assert "in place of <bdi>0x05</bdi>" in question
    for address in offered:
        fields = fields_of(rack.get(address).text)
        given = [name for name, text in fields.items() if text == "0x07 & <co>"]
        assert len(given) == 1, address
        assert given[0].endswith("-device"), address

    assert send(rack, offered[0]) == (303, "/enclosures/cork-cube")
    assert rack.get(API).json()["probe"][0]["device"] == "0x07 & <co>"
    rack.ask(lambda pipeline, now_ms: pipeline.take([message], now_ms))
    assert "80&nbsp;%" in rack.page()
    assert "Heard, but not known" not in rack.get("/setup").text


def test_a_device_of_a_room_by_form(rack: Show) -> None:
    """A spare takes the place of one that failed; emptied, the probe has none."""
    room = "/api/v1/rooms/back"
    assert send(rack, "/setup/rooms/back?probe=air&device=0x07") == (303, "/setup")
    assert rack.get(room).json()["probe"][0]["device"] == "0x07"
    assert send(rack, "/setup/rooms/back", {"probe-0-device": " "}.items()) == (303, "/setup")
    assert rack.get(room).json()["probe"][0]["device"] is None


@pytest.mark.parametrize(
    ("changes", "name", "says"),
    [
        ({"probe-0-device": "0x05"}, "probe-0-device", "both back/air and cork-cube/canopy"),
        ({"probe-0-device": "a/b"}, "probe-0-device", "a device's name as it stands in the topic"),
        ({"probe-0-device": "x" * 201}, "probe-0-device", "of 1 to 200 characters"),
        ({"probe-1-device": "0x07"}, "probe-1-id", "give the probe an id"),
        (
            {"probe-0-device": "a", "probe-1-id": "floor", "probe-1-device": "a"},
            "probe-1-device",
            "both cork-cube/canopy and cork-cube/floor",
        ),
    ],
)
def test_a_mistake_with_a_device_is_told_beside_its_field(
    rack: Show, changes: dict[str, str], name: str, says: str
) -> None:
    """Nothing is kept, nothing is lost, and the field says what would be right."""
    before = rack.get(API).json()
    status, page = send(rack, FORM, changes.items())
    told = re.search(rf'<p id="{name}-wrong" class="wrong">([^<]*)</p>', page)
    assert status == 422
    assert told
    assert says in told[1]
    assert rack.get(API).json() == before
    assert fields_of(page).items() >= changes.items()


def test_a_new_enclosure_cannot_have_a_device_that_is_taken(rack: Show) -> None:
    """Nor can a room; by form and over the API."""
    new = {"name": "Jar", "id": "jar", "probe-0-id": "floor", "probe-0-device": "0x05"}
    says = "device '0x05' is both back/air and jar/floor"
    for address in (NEW, "/setup/rooms/-new"):
        status, page = send(rack, address, new.items())
        assert (status, says in page) == (422, True)
    probe = [{"id": "floor", "device": "0x05"}]
    jar = Room.model_validate({"id": "jar", "name": "Jar", "probe": probe})
    with pytest.raises(Conflict, match=says):
        rack.ask(lambda pipeline, now_ms: pipeline.put_place(jar, "me", None, now_ms))


def test_what_the_settings_say_of_a_device_is_told_beside_its_field(make_show: MakeShow) -> None:
    """Before it is kept, and with both probes."""
    listed = {"source": [{"topic": "rack/{device}", "devices": {"0x07": "cork-cube/floor"}}]}
    show = make_show({"enclosure": [enclosure()]}, settings=listed)
    status, page = send(show, FORM, {"probe-0-device": "0x07"}.items())
    assert status == 422
    assert "cork-cube/floor in the settings and cork-cube/canopy in the set-up" in page


def test_devices_are_asked_for_only_where_they_are_of_use(show: Show, rack: Show) -> None:
    """A house whose probes publish under the ids from here has one field less."""
    assert "probe-0-device" not in fields_of(show.get(FORM).text)
    assert "probe-0-device" in fields_of(rack.get(FORM).text)
    assert "<code>rack/{device}/state</code>" in html.unescape(rack.get(FORM).text)


def test_a_device_that_nobody_listens_for_is_shown_and_said(make_show: MakeShow) -> None:
    """It is not lost by keeping the form, and its keeper learns what is missing."""
    show = make_show({"enclosure": [enclosure(probe=[PROBE | {"device": "0x07"}])]})
    assert "in its topic. None has." in show.get(FORM).text
    assert send(show, FORM)[0] == 303
    assert show.get(API).json()["probe"][0]["device"] == "0x07"


def test_a_room_by_form(show: Show) -> None:
    """A room has a name and probes of its own; mistakes are told in place."""
    new = "/setup/rooms/-new"
    status, location = send(show, new, {"name": "Attic", "id": "attic"}.items())
    assert (status, location) == (303, "/setup")
    assert show.get("/api/v1/rooms/attic").json()["probe"][0]["id"] == "air"
    status, page = send(show, "/setup/rooms/attic", {"name": ""}.items())
    assert status == 422
    assert 'id="name-wrong"' in page


def test_a_file_that_comes_back_at_each_start_is_said(make_show: MakeShow, tmp_path: Path) -> None:
    """Who changes something by form learns that the file undoes it; without a file nothing does."""
    file = tmp_path / "shelf.toml"
    show = make_show({"enclosure": [enclosure()]}, settings={"setup": {"file": file}})
    assert "the file <code>shelf.toml</code> is applied" in show.get("/setup").text


def test_taking_out_needs_a_yes(show: Show) -> None:
    """Nobody ends the watch over an animal by a slip."""
    page = show.get(FORM).text
    remove = "/setup/places/cork-cube/remove"
    assert show.submit(page, remove).status_code == 409
    assert show.get(API).status_code == 200
    assert show.submit(page, remove, [("sure", "yes")]).status_code == 303
    assert show.get(API).status_code == 404


def test_who_only_looks_gets_no_form(make_show: MakeShow) -> None:
    """Scope view sees what is set up, not the forms."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    viewer = show.token(Scope.VIEW)
    page = show.get("/setup", viewer).text
    assert "Cork cube" in page
    assert "Add an enclosure" not in page
    assert show.get(FORM, viewer).status_code == 403
