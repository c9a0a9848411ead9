"""Nights in words: one sentence each, and a text that can be read on a phone."""

import datetime as dt
from typing import Any

import pytest

from monitor.analysis.morning import MOST_LINES, morning, sentence, wire
from monitor.analysis.night import (
    Beyond,
    Course,
    Extreme,
    Misting,
    NightReport,
    SeenAlarm,
    Silence,
)
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Zone
from monitor.setup.nights import Night
from monitor.species.ranges import Ranged
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339

OFF_MS = parse_rfc3339("2026-11-24T19:00:00Z")
"""20:00 in Berlin."""
ON_MS = OFF_MS + 12 * HOUR_MS
DATE = dt.date(2026, 11, 25)
CANOPY = Probe(id="canopy", zone=Zone.CANOPY)
DRY = SeenAlarm("a", "warning", OFF_MS, True, False, False, "Humidity is 50 %, below 60 %.")
GONE = Silence("canopy", Zone.CANOPY, 60 * MINUTE_MS, OFF_MS + 11 * HOUR_MS, True)


def at(value: float, hours: float) -> Extreme:
    """A reading of the canopy so many hours after lights off."""
    return Extreme(value, OFF_MS + round(hours * HOUR_MS), "canopy", Zone.CANOPY)


def course(low: float, high: float, below_min: float = 0) -> Course:
    """A night between two values, below its range for so long."""
    worst = at(low, 7.2) if below_min else None
    below = Beyond(round(below_min * MINUTE_MS), worst)
    return Course(at(low, 7.2), at(high, 1), below, Beyond(0, None))


COURSES: dict[Ranged, Course] = {
    Quantity.TEMPERATURE: course(19.84, 22.0),
    Quantity.HUMIDITY: course(71.5, 96.25),
}


def night(name: str = "Cork cube", **more: Any) -> NightReport:
    """A quiet night, but for what is said."""
    facts: dict[str, Any] = {
        "enclosure": Enclosure(id="cube", name=name, timezone="Europe/Berlin", probe=(CANOPY,)),
        "night": Night(DATE, OFF_MS, ON_MS),
        "as_of_ms": ON_MS,
        "courses": COURSES,
    }
    return NightReport(**(facts | more))


def mistings(count: int) -> list[Misting]:
    """So many."""
    return [Misting(OFF_MS + n * HOUR_MS, 6.0) for n in range(count)]


@pytest.mark.parametrize(
    ("report", "says"),
    [
        (night(), "Temperature 19.8 to 22 °C; humidity 71.5 to 96.2 %."),
        (
            night(mistings=mistings(1), courses={Quantity.HUMIDITY: course(71.5, 96, 12)}),
            "Humidity 71.5 to 96 %; misted once; out of range for 12 min.",
        ),
        (
            night(courses={Quantity.HUMIDITY: course(58.2, 90, 130)}),
            "Humidity below its range for 2 h 10 min, lowest 58.2 % (03:12 at canopy).",
        ),
        (night(alarms=[DRY]), "Humidity is 50 %, below 60 %."),
        (
            night(alarms=[DRY, DRY._replace(priority="critical", says="It is too hot."), DRY]),
            "It is too hot; 2 more alarms stand.",
        ),
        (
            night(alarms=[DRY._replace(standing=False)] * 2, usual_mistings=9),
            "Humidity is 50 %, below 60 %; 1 more alarm came and went; not misted, usually 9.",
        ),
        (night(silent=[GONE]), "Probe canopy has sent nothing since 07:00."),
        (
            night(
                alarms=[DRY._replace(of_silence=True, says="Probe canopy has sent nothing.")],
                silent=[GONE, GONE._replace(probe="floor", since_ms=OFF_MS - 2 * DAY_MS)],
            ),
            "Probes canopy and floor have sent nothing since 20:00 on 22 Nov.",
        ),
        (
            night(silent=[GONE._replace(since_ms=None)], courses={}),
            "Probe canopy has sent nothing all night.",
        ),
        (
            night(alarms=[DRY], silent=[GONE]),
            "Humidity is 50 %, below 60 %; probe canopy has sent nothing since 07:00.",
        ),
        (
            night(silent=[GONE._replace(lasts=False)]),
            "Probe canopy sent nothing for 1 h.",
        ),
        (
            night(enclosure=Enclosure(id="jar", name="Jar"), courses={}),
            "It has no probes, so nothing is known of its night.",
        ),
    ],
)
def test_a_night_in_one_sentence(report: NightReport, says: str) -> None:
    """The worst first, times by the enclosure's clock (Berlin: UTC+1)."""
    assert sentence(report) == says


def test_the_text_has_those_that_need_a_hand_first() -> None:
    """Groups by words, not by colour; the first line tells how many."""
    reports = [
        night("Quiet one"),
        night("Gone one", silent=[GONE]),
        night("Dry one", alarms=[DRY._replace(standing=False)]),
    ]

    told = morning(reports, DATE)

    assert told.text == (
        "The night to 25 Nov. 1 of 3 needs a hand, 1 is worth a look.\n\n"
        "NEEDS A HAND\n"
        "Gone one: Probe canopy has sent nothing since 07:00.\n\n"
        "Worth a look\n"
        "Dry one: Humidity is 50 %, below 60 %.\n\n"
        "Quiet\n"
        "Quiet one: Temperature 19.8 to 22 °C; humidity 71.5 to 96.2 %."
    )
    assert [each.enclosure.name for each in told.reports] == ["Gone one", "Dry one", "Quiet one"]


@pytest.mark.parametrize(
    ("reports", "says"),
    [
        ([], "No enclosure is set up."),
        ([night()], "It was quiet."),
        ([night(), night()], "All is quiet."),
        ([night(silent=[GONE])] * 2, "2 of 2 need a hand."),
        ([night(alarms=[DRY._replace(standing=False)]), night()], "1 of 2 is worth a look."),
    ],
)
def test_the_first_sentence(reports: list[NightReport], says: str) -> None:
    """What a lock screen shows is enough to go on sleeping, or not."""
    assert morning(reports, DATE).says == says


def test_a_long_shelf_stays_readable() -> None:
    """Twenty lines of a group and the number of the others."""
    told = morning([night(f"Box {n:03}") for n in range(100)], DATE)

    assert told.text.count("\n") == MOST_LINES + 3
    assert told.text.endswith("and 80 more")


def test_the_wire() -> None:
    """Everything the sentence rests on, times in UTC."""
    told: Any = wire(
        night(
            courses={Quantity.HUMIDITY: course(58.2, 90, 130)},
            alarms=[DRY],
            mistings=mistings(1),
            usual_mistings=2,
            silent=[GONE],
        )
    )

    assert told["over"]
    assert (told["needs"], told["date"]) == ("hand", "2026-11-25")
    assert told["quantities"]["humidity"]["below_range"] == {
        "minutes": 130.0,
        "worst": {
            "value": 58.2,
            "at": "2026-11-25T02:12:00Z",
            "probe": "canopy",
            "zone": "canopy",
        },
    }
    assert told["mistings"] == {
        "count": 1,
        "usual": 2,
        "list": [{"at": "2026-11-24T19:00:00Z", "seconds": 6.0}],
    }
    assert told["silent"] == [
        {
            "probe": "canopy",
            "zone": "canopy",
            "minutes": 60.0,
            "since": "2026-11-25T06:00:00Z",
            "lasts": True,
        }
    ]
    assert told["alarms"][0]["says"] == DRY.says
