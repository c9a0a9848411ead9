"""The probes page: what each says, whether it can be believed, when it is to be calibrated."""

from zoneinfo import ZoneInfo

import pytest

from monitor.times import DAY_MS, rfc3339
from monitor.web.measure import Shape
from monitor.web.probes_page import _paper
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

PAGE = "/enclosures/cork-cube/probes"


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """A heard canopy with a correction, and a floor that was never heard."""
    probes = [
        {"id": "canopy", "zone": "canopy", "calibration": {"humidity": {"offset": 1.5}}},
        {"id": "floor", "zone": "floor"},
    ]
    show = make_show({"enclosure": [enclosure(probe=probes)]})
    show.publish("dewkeep/cork-cube/canopy", 22.0, 82.0, since_h=6)
    return show


def test_every_probe_has_its_papers(show: Show) -> None:
    """Now, trust as the API tells it, calibration, corrections, topic; what is silent says so."""
    page = show.get(PAGE).text
    trust = show.get("/api/v1/enclosures/cork-cube/probes/trust").json()
    assert "<strong>84&nbsp;%</strong>" in page or "<strong>83.5&nbsp;%</strong>" in page
    for each in trust["probes"]:
        assert each["says"].split(";")[0] in page
    assert "Never calibrated here" in page
    assert "Its humidity is corrected: 1 times the reading, +1.5." in page
    assert "dewkeep/cork-cube/canopy" in page
    assert "nothing heard yet" in page


def test_a_probe_goes_out_of_service_and_comes_back(show: Show) -> None:
    """With the reason that was given; meanwhile the page says so."""
    page = show.get(PAGE).text
    address = f"{PAGE}/canopy/service"
    answer = show.submit(page, address, [("why", "new <battery>"), ("do", "out")])
    assert answer.headers["location"] == f"{PAGE}#canopy"
    page = show.get(PAGE).text
    assert "out of service: new &lt;battery&gt;" in page
    (quiet,) = show.get("/api/v1/suppressions").json()
    assert (quiet["probe"], quiet["because"]) == ("canopy", "out_of_service")
    show.submit(page, address, [("do", "back")])
    assert show.get("/api/v1/suppressions").json() == []


@pytest.mark.parametrize(
    ("state", "due_days", "shape", "says"),
    [
        ("valid", 200, Shape.INSIDE, "due again on"),
        ("valid", 12, Shape.UNSURE, "due soon"),
        ("overdue", -3, Shape.MISSED, "it was due again on"),
    ],
)
def test_a_calibration_says_when_it_is_due(
    state: str, due_days: int, shape: Shape, says: str
) -> None:
    """By mark and words; a month ahead it is soon."""
    papers = {
        "state": state,
        "made_at": rfc3339(NIGHT_MS - 100 * DAY_MS),
        "due_at": rfc3339(NIGHT_MS + due_days * DAY_MS),
    }
    paper = _paper({"calibration": papers}, ZoneInfo("UTC"), NIGHT_MS)
    assert paper.shape is shape
    assert says in paper.says
