"""The alarms page: what calls, why, what to do about it, and what is over."""

import html
import json
import re
from dataclasses import replace

import pytest

from monitor.alarms.model import BROKER, Alarm, Because, Condition, State
from monitor.analysis.causes.figures import Findings
from monitor.ingest import filing
from monitor.store.sqlite.state import alarms as stored
from monitor.store.sqlite.state import explanations
from monitor.times import HOUR_MS
from monitor.web import words
from monitor.web.alarm_page import coming
from tests.web.conftest import NIGHT_MS, OURS, MakeShow, Show, enclosure
from tests.web.test_room import alarm

TOPIC = "dewkeep/cork-cube/canopy"
CAUSE = {
    "says": "Water has left the air: dew point 3.9 K below the usual.",
    "check_first": ["mister & tank"],
    "water_share": 0.97,
    "water_share_low": 0.9,
    "water_share_high": 1.0,
    "figures": [
        {"name": "dew_point_departure", "value": -3.94, "unit": "K"},
        {"name": "run_up", "value": 335.5, "unit": "min"},
        {"name": "usual_humidity", "value": 86.1, "unit": "%RH"},
        {"name": "mistings_missed", "value": 1, "unit": "1"},
    ],
}


@pytest.fixture
def dry(make_show: MakeShow) -> Show:
    """An enclosure that is too dry for an hour, with a cause."""
    show = make_show({"enclosure": [enclosure()]})
    show.publish(TOPIC, 22.0, 82.0, since_h=6, until_h=1)
    show.publish(TOPIC, 22.0, 64.0, since_h=0.9)
    alarm = show.get("/api/v1/alarms").json()[0]["id"]
    with show.database.transaction() as connection:
        explanations.put(connection, alarm, NIGHT_MS, json.dumps({"cause": CAUSE}))
    return show


def test_an_alarm_has_its_reason_and_figures(dry: Show) -> None:
    """Sentence, cause, share of water, what to check, and the numbers behind them."""
    page = dry.get("/alarms").text
    for told in (
        "<h1>1 alarm calls for you.</h1>",
        "Too dry since 02:18",
        "Water has left the air",
        "Lost water explains 97\N{NO-BREAK SPACE}% of it (between 90 and 100\N{NO-BREAK SPACE}%).",
        "mister &amp; tank",
        "<dt>limit</dt><dd>70\N{NO-BREAK SPACE}%</dd>",
        "<dt>worst</dt><dd>64\N{NO-BREAK SPACE}%</dd>",
        "<dt>dew point against the usual</dt><dd>-3.9\N{NO-BREAK SPACE}K</dd>",
        "<dt>began before it</dt><dd>5\N{NO-BREAK SPACE}h 36\N{NO-BREAK SPACE}min</dd>",
        "<dt>usual mistings that did not come</dt><dd>1</dd>",
    ):
        assert told in page, told


def test_it_is_set_aside_and_taken_back(dry: Show) -> None:
    """For as long as was chosen; the page says until when, and offers to take it back."""
    page = dry.get("/alarms").text
    answer = dry.submit(page, "/alarms/shelve", [("minutes", "240")])
    assert (answer.status_code, answer.headers["location"]) == (303, "/alarms")
    page = dry.get("/alarms").text
    assert "No alarm calls for you." in page
    assert "Set aside until 07:12." in page
    assert dry.get("/api/v1/alarms").json()[0]["state"] == "shelved"

    dry.submit(page, "/alarms/shelve")
    assert dry.get("/api/v1/alarms").json()[0]["state"] == "unacknowledged"


def test_only_what_is_offered_is_taken(dry: Show) -> None:
    """A time that is not on the page is refused; nothing is shelved for years."""
    page = dry.get("/alarms").text
    assert dry.submit(page, "/alarms/shelve", [("minutes", "999999")]).status_code == 422
    assert dry.post("/alarms/shelve", [("minutes", "60")], OURS).status_code == 403
    assert dry.get("/api/v1/alarms").json()[0]["state"] == "unacknowledged"


def test_what_is_over_is_kept_with_its_cause(dry: Show) -> None:
    """After seeing and ending it stands among those that are over, and only there."""
    dry.submit(dry.get("/alarms").text, "/seen")
    dry.now_ms += HOUR_MS
    dry.publish(TOPIC, 22.0, 82.0, since_h=0.9)
    page = dry.get("/alarms").text
    assert "No alarm calls for you." in page
    over = page[page.index("<h2>Over</h2>") :]
    assert "was below 70" in over
    assert "Water has left the air" in over
    assert "<button" not in page
    assert "Cork cube" in dry.get("/alarms?place=cork-cube").text
    assert "Of nowhere alone" in dry.get("/alarms?place=nowhere").text


def past(hours: int) -> Alarm:
    """A dry spell that ended so many hours ago."""
    ended_ms = NIGHT_MS - hours * HOUR_MS
    return replace(
        alarm("cork-cube", State.NORMAL),
        id=f"past-{hours}",
        since_ms=ended_ms - HOUR_MS,
        raised_at_ms=ended_ms - HOUR_MS // 2,
        returned_at_ms=ended_ms,
    )


def keep(show: Show, *alarms: Alarm) -> None:
    """Put alarms into the store."""
    with show.database.transaction() as connection:
        stored.put(connection, [filing.alarm_row(each) for each in alarms])


def test_a_long_history_has_pages(make_show: MakeShow) -> None:
    """More than forty past alarms are read page by page, none twice, none missing."""
    show = make_show({"enclosure": [enclosure()]})
    keep(show, *(past(hours) for hours in range(1, 46)))
    first = show.get("/alarms").text
    assert first.count("<summary>Cork cube") == 40
    link = re.search(r'href="(\?before=[^"]+)">Older', first)
    assert link
    second = show.get(f"/alarms{html.unescape(link[1])}").text
    assert second.count("<summary>Cork cube") == 5
    assert "<h1>Alarms that are over</h1>" in second
    assert "Older ones" not in second


def test_the_broker_alarm_belongs_to_dewkeep_itself(make_show: MakeShow) -> None:
    """An alarm that is about no enclosure has a name, too, and can be seen."""
    show = make_show({"enclosure": [enclosure()]})
    deaf = replace(alarm("x"), point=BROKER, zone=None, value=None, limit=None, extreme=None)
    keep(show, deaf)
    page = show.get("/alarms").text
    assert "dewkeep itself: No connection to the broker since 02:12" in page
    assert "/enclosures/x" not in page


@pytest.mark.parametrize("own", [Condition.LOW, Condition.CRITICAL_LOW])
def test_what_is_to_come_does_not_contradict_what_stands(own: Condition) -> None:
    """An alarm that stands for too dry says that it falls below its range again, not that it will.

    The other limit is news, and one that nothing is expected of is not spoken of.
    """
    ahead = {
        "low": {"likely": "2026-11-30T01:05:00Z", "says": "between 01:01 and 01:11"},
        "high": {"likely": "2026-11-30T08:30:00Z", "says": "about 08:30"},
    }
    told = coming(ahead, own)
    assert "expected to fall below it again between 01:01 and 01:11." in told
    assert "It is expected to rise above its range about 08:30." in told
    assert "expected to fall below its range between" in coming(ahead, Condition.HIGH)
    nothing = {"likely": None, "says": "not within reach"}
    assert coming({"low": nothing, "high": nothing}, own) == ""


def test_every_reason_and_figure_has_words() -> None:
    """Nothing the alarm desk gives as its reason is without English on the page."""
    assert set(words.BECAUSE) == set(Because)
    known = {"humidity", "other_probes", "other_probes_agree", "days_crossed"}
    found = Findings(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0).figures()
    assert set(words.FIGURES) | known == {figure.name for figure in found}
