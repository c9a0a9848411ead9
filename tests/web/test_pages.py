"""The room page in-process: what it says, what it refuses, and what it never lets through."""

import json
import re

import pytest

from monitor.store.sqlite.state import explanations
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import HOUR_MS
from tests.web.conftest import NIGHT_MS, OURS, MakeShow, Show, enclosure

TOPIC = "dewkeep/cork-cube/canopy"


@pytest.fixture
def dry(make_show: MakeShow) -> Show:
    """Two enclosures at night: one calm, one too dry for an hour after a good evening."""
    calm = enclosure("amber-jar", "Amber jar")
    show = make_show({"enclosure": [calm, enclosure()]})
    show.publish(TOPIC, 22.0, 82.0, since_h=6, until_h=1)
    show.publish(TOPIC, 22.0, 64.0, since_h=0.9)
    show.publish("dewkeep/amber-jar/canopy", 22.0, 80.0, since_h=6)
    show.mist("cork-cube", NIGHT_MS - 3 * HOUR_MS, 6.0)
    return show


def test_the_one_in_need_stands_first_with_its_reason(dry: Show) -> None:
    """One sentence, then the alarm's own sentence, the verdict in words, the misting, the calm."""
    page = dry.page()

    assert "<h1>2 enclosures: Cork cube needs a hand.</h1>" in page
    assert page.index('id="cork-cube"') < page.index('id="amber-jar"')
    alarm = dry.get("/api/v1/alarms").json()[0]
    assert alarm["says"].replace(" %", "\N{NO-BREAK SPACE}%") in page
    assert "Too dry since 02:18" in page
    assert "<strong>64&nbsp;%</strong>" in page
    assert "too dry" in page
    assert "70\N{EN DASH}95\N{NO-BREAK SPACE}%" in page
    assert "Misted at 00:12 for 6 s." in page
    assert "In range" in page
    assert "lights off" in page
    assert page.count("<button") == 1


def test_a_known_cause_is_told_with_what_to_check(dry: Show) -> None:
    """Once an alarm is explained the page says why, and where to look, as text."""
    alarm = dry.get("/api/v1/alarms").json()[0]["id"]
    cause = {"says": "Water has left the air.", "check_first": ["lid & vents"]}
    with dry.database.transaction() as connection:
        explanations.put(connection, alarm, NIGHT_MS, json.dumps({"cause": cause}))
    page = dry.page()
    assert "<p>Water has left the air.</p>" in page
    assert "<li>lid &amp; vents</li>" in page


def test_seen_acknowledges_what_was_shown_and_returns(dry: Show) -> None:
    """The form needs no script: it acknowledges, leads back, and the button is gone."""
    answer = dry.submit(dry.page(), "/seen")

    assert (answer.status_code, answer.headers["location"]) == (303, "/#cork-cube")
    (alarm,) = dry.get("/api/v1/alarms").json()
    assert (alarm["state"], alarm["acknowledged_by"]) == ("acknowledged", "keeper")
    after = dry.page()
    assert "<button" not in after
    assert "Seen at 03:12 by keeper." in after
    assert "2 enclosures: nothing new. You know about Cork cube." in after


def test_seen_twice_is_no_error(dry: Show) -> None:
    """Two keepers press at once: the second one is led back to the page, too."""
    page = dry.page()
    dry.submit(page, "/seen")
    assert dry.submit(page, "/seen").status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"},
        {"Sec-Fetch-Site": "same-site", "Origin": "http://127.0.0.1:9999"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "null"},
        {},
    ],
)
def test_a_form_from_elsewhere_changes_nothing(dry: Show, headers: dict[str, str]) -> None:
    """Only a page of dewkeep itself may say that an alarm was seen."""
    answer = dry.submit(dry.page(), "/seen", headers=headers)

    assert answer.status_code == 403
    assert dry.get("/api/v1/alarms").json()[0]["state"] == "unacknowledged"


def test_an_old_browser_is_known_by_its_origin(dry: Show) -> None:
    """Without fetch metadata the origin must be the very address that was called."""
    answer = dry.submit(dry.page(), "/seen", headers={"Origin": "http://127.0.0.1:8420"})
    assert answer.status_code == 303


def test_hostile_names_stay_text(make_show: MakeShow) -> None:
    """A name with markup in it is shown as it is written, in text and in attributes."""
    name = "<script>alert(1)</script>\" onload='x"
    show = make_show(
        {"room": [{"id": "back", "name": name}], "enclosure": [enclosure(name=name, room="back")]}
    )
    show.publish(TOPIC, 22.0, 20.0, since_h=0.5)
    page = show.page()

    assert "<script>alert" not in page
    assert "onload='x" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&#34; onload=&#39;x" in page


def test_pages_and_files_carry_a_strict_policy(dry: Show) -> None:
    """Nothing inline, nothing from elsewhere, no frame around it; files may be kept."""
    answer = dry.get("/")
    policy = answer.headers["content-security-policy"]
    for directive in (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    ):
        assert directive in policy
    assert answer.headers["cache-control"] == "no-store"
    assert " style=" not in answer.text
    assert re.findall(r'(?:src|href)="(?!/|#)', answer.text) == []
    for address in re.findall(r'(?:src|href)="(/static/[^"]+)"', answer.text):
        file = dry.get(address)
        assert file.status_code == 200
        assert "immutable" in file.headers["cache-control"]
        assert file.headers["content-security-policy"] == policy


def test_a_missing_file_is_a_page_that_says_so(dry: Show) -> None:
    """An error of a page is a page, headers included."""
    answer = dry.get("/static/none.css")
    assert answer.status_code == 404
    assert "no file" in answer.text
    assert answer.headers["content-type"].startswith("text/html")
    assert "content-security-policy" in answer.headers


def test_nothing_is_told_to_people_and_programs(dry: Show) -> None:
    """A browser gets a page with the way back, a program a problem."""
    page = dry.get("/nowhere", {"Accept": "text/html,*/*"})
    assert (page.status_code, page.headers["content-type"]) == (404, "text/html; charset=utf-8")
    assert "Back to the room" in page.text
    program = dry.get("/api/v1/nowhere", {"Accept": "*/*"})
    assert (program.status_code, program.json()["status"]) == (404, 404)


def test_an_empty_house_says_what_to_do(make_show: MakeShow) -> None:
    """Without enclosures: the first steps, or the file and its command."""
    page = make_show({}).page()
    assert "<h1>No enclosures yet.</h1>" in page
    assert "config/enclosures.toml" in page
    assert "dewkeep setup apply" in page


def test_a_silent_probe_is_told_where_to_publish(make_show: MakeShow) -> None:
    """A probe that was never heard shows its topic, or the device that should be in it."""
    device = {"id": "floor", "zone": "floor", "device": "<0x07>"}
    probes = [{"id": "canopy", "zone": "canopy"}, device]
    page = make_show({"enclosure": [enclosure(probe=probes)]}).page()
    assert "nothing heard yet; it should publish on dewkeep/cork-cube/canopy" in page
    assert "it should publish on a topic with its device, &lt;0x07&gt;" in page
    assert "1 enclosure: none needs a hand." in page


def test_what_ails_dewkeep_stands_above_all(make_show: MakeShow) -> None:
    """A missing broker is said with its reason before any enclosure."""
    show = make_show({"enclosure": [enclosure()]})
    show.link.state.connected = False
    show.link.state.says = "connection refused at 127.0.0.1:1883"
    page = show.page()
    assert page.index("connection refused at 127.0.0.1:1883") < page.index('id="cork-cube"')


def test_a_room_that_calls_has_its_button(make_show: MakeShow) -> None:
    """A silent probe of the room itself is told, named in the first sentence, and can be seen."""
    show = make_show({"room": [{"id": "back", "name": "Back room", "probe": [{"id": "air"}]}]})
    show.wait_silence()
    page = show.page()
    assert "Back room needs a hand." in page
    assert "Probe air has sent nothing" in page
    assert show.submit(page, "/seen").status_code == 303
    assert "<button" not in show.page()


def test_without_a_token_nothing_is_shown(make_show: MakeShow) -> None:
    """Where tokens are needed a stranger gets a plain page that names nothing of the house."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    answer = show.get("/")
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert "dewkeep token new" in answer.text
    assert "Cork cube" not in answer.text
    assert show.post("/seen").status_code == 401


def test_a_token_of_scope_view_looks_but_does_not_act(make_show: MakeShow) -> None:
    """Scopes hold for the page as for the API."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    viewer = show.token(Scope.VIEW)
    assert "Cork cube" in show.get("/", headers=viewer).text
    assert show.post("/seen", headers=OURS | viewer).status_code == 403


def test_the_page_is_no_part_of_the_api(dry: Show) -> None:
    """OpenAPI lists what programs may use; pages are not among it."""
    assert all(
        path.startswith(("/api/", "/healthz", "/readyz", "/metrics"))
        for path in dry.get("/openapi.json").json()["paths"]
    )
