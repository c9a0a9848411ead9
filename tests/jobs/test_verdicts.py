"""Builds are judged every morning, verdicts remembered, changes told once, relapses watched for.

The clock change of Lisbon in autumn 2026 (25 October, 01:00 UTC) follows from the IANA time zone
database, file europe.
"""

import datetime as dt
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.alarms.model import Alarm, Condition
from monitor.analysis.settling import Name, Result
from monitor.errors import StoreUnavailable
from monitor.jobs.verdicts import Ruling, Verdicts
from monitor.notify.text import text_of
from monitor.quantities import Quantity
from monitor.setup.journal import ENTRY, Source
from monitor.setup.models import Enclosure
from monitor.store.readings import Readings, SeriesKey
from monitor.store.rows import Notice, VerdictRow
from monitor.store.sqlite.state import journal, setup, verdicts
from monitor.times import DAY_MS, MINUTE_MS, parse_rfc3339, rfc3339
from tests.support.rig import Rig

BUILT_ON = dt.date(2026, 9, 1)
BUILT_MS = parse_rfc3339("2026-09-01T00:00:00Z")
CUBE = """
[[enclosure]]
id = "cube"
name = "Cube"
timezone = "Europe/Lisbon"
built_on = 2026-09-01
settling = { no_bloom_days = 30 }
probe = [{ id = "canopy", zone = "canopy", period_s = 600 }]

[enclosure.range.canopy]
day = { humidity = [60, 90] }
night = { humidity = [60, 90] }

[[enclosure]]
id = "old"
name = "Old"
probe = [{ id = "canopy", zone = "canopy" }]
"""
SETTINGS = {
    "settling": {"at": "06:00", "channels": ["phone", "mail"]},
    "channel": [
        {"name": name, "kind": "webhook", "url": f"http://127.0.0.1:9/{name}",
         "from_priority": "advice" if name == "phone" else "warning"}
        for name in ("phone", "mail")
    ],
}  # fmt: skip


class Mornings:
    """A rig with two enclosures, and a job that judges them by a clock set by hand."""

    def __init__(self, folder: Path) -> None:
        self.rig = Rig(folder, enclosures=CUBE, settings=SETTINGS, now_ms=BUILT_MS)
        self.broken = False
        self.restart()

    def restart(self) -> None:
        """Begin anew over the same database."""
        self.rig.pipeline = self.rig.new_pipeline()
        self.job = Verdicts(
            self.rig.database,
            self.rig.parts.assessor,
            self.rig.settings.settling,
            self._keep,
            lambda: self.rig.now_ms,
        )

    def _keep(self, ruling: Ruling) -> None:
        if self.broken:
            raise StoreUnavailable("the disk is full")
        self.rig.pipeline.settle(*ruling, self.rig.now_ms)

    def fill(self, days: int) -> None:
        """An even climate from the first day on."""
        at_ms = np.arange(BUILT_MS, BUILT_MS + days * DAY_MS, 10 * MINUTE_MS)
        wobble = 0.1 * (np.arange(len(at_ms)) * 7 % 5 - 2)
        for quantity, value in ((Quantity.TEMPERATURE, 23.0), (Quantity.HUMIDITY, 75.0)):
            (series,) = self.rig.readings.series_ids([SeriesKey("cube", "canopy", quantity)])
            self.rig.readings.backfill(
                Readings(
                    np.full(len(at_ms), series),
                    at_ms,
                    (value + wobble).astype(np.float64),
                    np.zeros(len(at_ms), np.uint8),
                )
            )

    def inspect(self, at: str, cover: int) -> None:
        """A look inside."""
        document = {"kind": "inspection", "at": parse_rfc3339(at), "mould_cover": cover}
        with self.rig.database.transaction() as connection:
            entry = ENTRY.validate_python(document)
            journal.add(connection, "cube", entry, Source.KEEPER, self.rig.now_ms)

    def look(self, when: str) -> None:
        """Look at a time."""
        self.rig.now_ms = parse_rfc3339(when)
        self.job.look()

    def remembered(self) -> list[tuple[str, str, str]]:
        """Each verdict on the cube with the times it was first and last found."""
        return [(each.verdict, rfc3339(each.since_ms), rfc3339(each.at_ms)) for each in self.rows()]

    def rows(self) -> list[VerdictRow]:
        """The verdicts on the cube."""
        with self.rig.database.reading() as connection:
            return verdicts.history(connection, "cube", BUILT_ON, self.rig.now_ms)

    def relapses(self) -> list[Alarm]:
        """The open alarms of relapses."""
        alarms = self.rig.pipeline._desk.alarms
        return [each for each in alarms if each.point.condition is Condition.RELAPSE]

    def sent(self, kind: str = "settling") -> list[tuple[str, dict[str, Any]]]:
        """Channel and document of what was put in line."""
        with self.rig.database.reading() as connection:
            rows = connection.execute(
                "SELECT channel, body FROM outbox WHERE kind = ? ORDER BY id", (kind,)
            ).fetchall()
        return [(channel, json.loads(body)) for channel, body in rows]


@pytest.fixture
def mornings(tmp_path: Path) -> Iterator[Mornings]:
    """The enclosures are set up, nothing has been heard yet."""
    made = Mornings(tmp_path)
    yield made
    made.rig.close()


def test_each_build_is_judged_once_a_day_at_its_time(mornings: Mornings) -> None:
    """By its own clock, also over the change of the clock; one without a day of building is not."""
    judged = []
    for at_ms in range(
        parse_rfc3339("2026-10-23T12:00:00Z"), parse_rfc3339("2026-10-26T12:00:00Z"), 10 * MINUTE_MS
    ):
        mornings.look(rfc3339(at_ms))
        with mornings.rig.database.reading() as connection:
            asked = verdicts.asked_at_ms(connection, at_ms)
        assert set(asked) == {"cube"}
        if asked["cube"] == at_ms:
            judged.append(rfc3339(at_ms))

    # The first look makes up for the morning; 06:00 is 05:00 UTC in summer.
    assert judged == [
        "2026-10-23T12:00:00Z",
        "2026-10-24T05:00:00Z",
        "2026-10-25T06:00:00Z",
        "2026-10-26T06:00:00Z",
    ]


def test_a_build_comes_to_settle_and_everyone_hears_it_once(mornings: Mornings) -> None:
    """On each channel, with a sentence; the same verdict next day is no news, nor a restart."""
    mornings.fill(50)
    for day in (3, 9, 15, 21, 27, 33):
        mornings.look(rfc3339(BUILT_MS + (day - 1) * DAY_MS + 7 * 60 * MINUTE_MS))
        mornings.inspect(rfc3339(BUILT_MS + day * DAY_MS), 0)
    mornings.look("2026-10-05T07:00:00Z")
    mornings.restart()
    mornings.look("2026-10-06T07:00:00Z")
    mornings.look("2026-10-06T07:01:00Z")

    assert [verdict for verdict, _, _ in mornings.remembered()] == [
        "collecting", "settling", "settled"
    ]  # fmt: skip
    assert mornings.remembered()[-1] == (
        "settled", "2026-10-05T07:00:00Z", "2026-10-06T07:00:00Z"
    )  # fmt: skip
    told = mornings.sent()
    assert [(channel, body["before"], body["verdict"]) for channel, body in told] == [
        ("phone", "collecting", "settling"),
        ("mail", "collecting", "settling"),
        ("phone", "settling", "settled"),
        ("mail", "settling", "settled"),
    ]
    assert told[0][1]["says"].startswith("Cube is settling: only time, or a look, is missing. ")
    assert told[0][1]["earliest"] is not None
    assert told[-1][1] == {
        "event": "settling",
        "enclosure": "cube",
        "enclosure_name": "Cube",
        "at": "2026-10-05T07:00:00Z",
        "verdict": "settled",
        "before": "settling",
        "earliest": None,
        "says": "Cube has settled: nothing measured or written down speaks against moving in. Look "
        "for yourself before you do.",
    }
    text = text_of(Notice("phone", "key", "settling", json.dumps(told[-1][1])))
    assert (text.title, text.says) == ("Cube", told[-1][1]["says"])
    assert mornings.relapses() == []


def settle(mornings: Mornings) -> None:
    """Bring the cube to settle by 5 October."""
    mornings.fill(70)
    for day in (3, 9, 15, 21, 27, 33):
        mornings.inspect(rfc3339(BUILT_MS + day * DAY_MS), 0)
    mornings.look("2026-10-05T07:00:00Z")
    assert mornings.remembered()[-1][0] == "settled"


def test_a_settled_build_is_watched_on(mornings: Mornings) -> None:
    """Mould is back: advice for those who want it, and it is over when it has settled again."""
    settle(mornings)
    mornings.look("2026-10-20T07:00:00Z")
    assert mornings.remembered()[-1][0] == "settled", "an old look is no relapse"

    mornings.inspect("2026-10-20T12:00:00Z", 3)
    mornings.look("2026-10-21T07:00:00Z")

    (alarm,) = mornings.relapses()
    assert str(alarm.point) == "cube.relapse"
    assert mornings.sent()[-1][1]["says"] == (
        "Cube is no longer settled. Mould: cover 3 of 5 on 20 October, not falling yet."
    )
    (channel, told), *others = mornings.sent("raised")
    assert (channel, others) == ("phone", []), "the other channel does not take advice"
    assert told["says"].startswith("No longer settled since 08:00. Mould: cover 3 of 5")

    mornings.restart()
    for at in ("2026-10-23T12:00:00Z", "2026-10-31T12:00:00Z"):
        mornings.inspect(at, 0)
    mornings.look("2026-10-30T07:00:00Z")
    assert [str(each.point) for each in mornings.relapses()] == ["cube.relapse"]
    mornings.look("2026-11-01T07:00:00Z")

    assert mornings.remembered()[-1][0] == "settled"
    (alarm,) = mornings.relapses()
    assert not alarm.standing


def test_another_day_of_building_forgets_what_was(mornings: Mornings) -> None:
    """A build that is torn down and made anew has not relapsed."""
    settle(mornings)
    mornings.inspect("2026-10-20T12:00:00Z", 3)
    mornings.look("2026-10-21T07:00:00Z")
    mornings.rig.apply(
        mornings.rig.settings.store.path.with_name("enclosures.toml"),
        CUBE.replace("2026-09-01", "2026-10-21"),
    )
    mornings.rig.pipeline.tick(mornings.rig.now_ms, broker_connected=True)

    mornings.look("2026-10-22T07:00:00Z")

    (alarm,) = mornings.relapses()
    assert not alarm.standing


def test_what_could_not_be_kept_is_tried_again(mornings: Mornings) -> None:
    """While the store refuses, nothing is remembered or told; a minute later it is made up for."""
    mornings.fill(30)
    mornings.broken = True
    with pytest.raises(StoreUnavailable, match="disk is full"):
        mornings.look("2026-09-25T07:00:00Z")
    assert mornings.sent() == []

    mornings.broken = False
    mornings.look("2026-09-25T07:01:00Z")

    assert [since for _, since, _ in mornings.remembered()] == ["2026-09-25T07:01:00Z"]
    assert len(mornings.sent()) == 2


def test_verdict_notice_and_alarm_are_kept_together(
    mornings: Mornings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If the last of them fails, there is none of the others."""
    settle(mornings)
    mornings.inspect("2026-10-20T12:00:00Z", 3)
    before = mornings.remembered(), mornings.sent()

    def refuse(*_: object) -> bool:
        raise StoreUnavailable("the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(mornings.rig.pipeline, "_save", refuse)
        with pytest.raises(StoreUnavailable):
            mornings.look("2026-10-21T07:00:00Z")
    assert (mornings.remembered(), mornings.sent()) == before
    assert mornings.relapses() == []

    mornings.look("2026-10-21T07:01:00Z")
    assert [str(each.point) for each in mornings.relapses()] == ["cube.relapse"]


def test_limits_that_look_further_back_get_their_readings(mornings: Mornings) -> None:
    """An enclosure that is to be even for ten weeks is judged on ten weeks."""
    mornings.rig.apply(
        mornings.rig.settings.store.path.with_name("enclosures.toml"),
        CUBE.replace("no_bloom_days = 30", "even_days = 70, longest_even_days = 80"),
    )
    mornings.fill(90)

    assessed = mornings.rig.parts.assessor.assess("cube", BUILT_MS + 76 * DAY_MS)

    even = [each for each in assessed.settling.criteria if each.name is Name.EVENNESS]
    assert {each.result for each in even} == {Result.PASS}
    assert "last 70 days" in assessed.settling.criteria[1].required


def test_a_clock_that_ran_ahead_stops_nothing(mornings: Mornings) -> None:
    """Verdicts that were noted in years to come are dropped once the clock is put right."""
    mornings.fill(30)
    mornings.look("2026-09-25T07:00:00Z")
    mornings.look("2036-09-25T07:00:00Z")
    mornings.look("2026-09-25T07:30:00Z")
    mornings.look("2026-09-26T07:00:00Z")
    mornings.rig.now_ms = parse_rfc3339("2037-01-01T00:00:00Z")

    assert mornings.remembered() == [("settling", "2026-09-25T07:00:00Z", "2026-09-26T07:00:00Z")]


def test_an_enclosure_that_cannot_be_judged_holds_up_no_other(
    mornings: Mornings, caplog: pytest.LogCaptureFixture
) -> None:
    """Its profile went missing: the log tells once a day."""
    lost = Enclosure.model_validate(
        {"id": "aaa", "name": "Lost", "built_on": BUILT_ON, "inhabitant": [{"species": "gone"}]}
    )
    with mornings.rig.database.transaction() as connection:
        setup.put(connection, lost, who="test", now_ms=0)

    mornings.look("2026-09-25T07:00:00Z")
    mornings.look("2026-09-25T07:01:00Z")

    assert len(mornings.remembered()) == 1
    (told,) = caplog.records
    assert told.getMessage().startswith("enclosure aaa cannot be judged today: no species")
