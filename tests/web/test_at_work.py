"""Hands in the enclosure: said by a button, taken back by another."""

import pytest

from monitor.times import MINUTE_MS, parse_rfc3339
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

PAGE = "/enclosures/cork-cube"
FORM = f"{PAGE}/at-work"


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """One enclosure."""
    return make_show({"enclosure": [enclosure()]})


@pytest.mark.parametrize(("minutes", "until"), [("30", "03:42"), ("60", "04:12"), ("180", "06:12")])
@pytest.mark.parametrize("because", ["maintenance", "lid_open"])
def test_alarms_are_quiet_until_then(show: Show, because: str, minutes: str, until: str) -> None:
    """The page tells until when and by whom; "done" leaves half an hour to settle."""
    fields = [("because", because), ("minutes", minutes)]
    page = show.get(PAGE).text
    proof = show.hidden(PAGE, FORM)[0]
    answer = show.post(FORM, [proof, *fields])
    assert answer.headers["location"] == f"{PAGE}#at-work"
    (quiet,) = show.get("/api/v1/suppressions").json()
    assert quiet["because"] == because
    assert parse_rfc3339(quiet["until"]) == NIGHT_MS + int(minutes) * MINUTE_MS
    page = show.get(PAGE).text
    assert f"uiet until {until}" in page
    assert "said by" in page
    show.now_ms += MINUTE_MS
    show.post(FORM, [show.hidden(PAGE, FORM)[0], ("because", because), ("minutes", "")])
    left = "03:42" if minutes == "30" else "03:43"
    assert f"uiet until {left}" in show.get(PAGE).text


@pytest.mark.parametrize(
    ("settle_s", "says"),
    [
        (1800, "Once you are done, the air has up to 30 min left to settle."),
        (5400, "Once you are done, the air has up to 1 h 30 min left to settle."),
        (20, "Once you are done, the air has up to 20 s left to settle."),
        (0, "Once you are done, they call again at once."),
    ],
)
def test_the_time_to_settle_is_the_one_that_is_set(
    make_show: MakeShow, settle_s: int, says: str
) -> None:
    """Not half an hour for everybody: ``alarms.lid_settle_s``."""
    show = make_show({"enclosure": [enclosure()]}, settings={"alarms": {"lid_settle_s": settle_s}})

    assert says in show.get(PAGE).text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("because", "minutes"), [("maintenance", "99999"), ("out_of_service", "30"), ("", "30")]
)
def test_nothing_else_can_be_said(show: Show, because: str, minutes: str) -> None:
    """Times and reasons that are not offered are refused."""
    proof = show.hidden(PAGE, FORM)[0]
    assert show.post(FORM, [proof, ("because", because), ("minutes", minutes)]).status_code == 422
    assert show.get("/api/v1/suppressions").json() == []


def test_a_form_from_elsewhere_is_not_heeded(show: Show) -> None:
    """Without the proof of a page of ours nothing is kept quiet."""
    fields = [("because", "maintenance"), ("minutes", "30")]
    assert show.post(FORM, fields).status_code == 403
    assert show.get("/api/v1/suppressions").json() == []
