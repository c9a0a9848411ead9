"""The documents that leave."""

import datetime as dt
import json
from dataclasses import replace
from zoneinfo import ZoneInfo

from monitor.alarms import states
from monitor.alarms.notices import (
    Matter,
    Occasion,
    Scribe,
    Whereabouts,
    call,
    ending,
    escalation_key,
    whereabouts,
)
from monitor.alarms.wording import wire
from monitor.setup.channels import Mqtt
from monitor.setup.models import Enclosure, Room, Setup
from tests.alarms.telling import LISBON, PLACES, SCRIBE, T, channel, dry

PHONE = channel()
LINKED = Scribe(
    PLACES, link=lambda alarm_id, now_ms: f"https://dewkeep.example/{alarm_id}/{now_ms}"
)


def test_an_alarm_is_told_as_the_api_gives_it() -> None:
    """With the place's name, the reason for telling, and the key that tells repeats apart."""
    raised = states.raised(dry(), T).alarm

    notice = SCRIBE.notice(call(raised), PHONE, T)

    assert notice.channel == "phone"
    assert notice.kind == "raised"
    assert notice.idempotency_key == f"cork-cube.canopy.humidity.low.{T}/raised"
    assert json.loads(notice.body) == {
        "event": "raised",
        "idempotency_key": notice.idempotency_key,
        "enclosure_name": "Cork cube",
        **wire(raised, LISBON, T),
        "cause": None,
    }


def test_an_alarm_is_told_with_its_cause() -> None:
    """If it is known by then, and whatever else is known with it."""
    raised = states.raised(dry(), T).alarm
    why = {"cause": {"kind": "drying", "says": "The air is losing water."}}
    scribe = Scribe(PLACES, {raised.id: why, "other": {"cause": {"kind": "warming"}}})

    document = json.loads(scribe.notice(call(raised), PHONE, T).body)

    assert document["cause"] == why["cause"]


def test_every_reason_has_a_key_of_its_own() -> None:
    """So that none is taken for a repeat of another."""
    raised = states.raised(dry(), T).alarm
    again = [replace(raised, recalls=n) for n in (1, 2)]

    keys = [call(raised).key, *(call(each).key for each in again), ending(raised).key]
    keys += [escalation_key(raised, "neighbour"), escalation_key(raised, "vet")]

    assert keys == [
        f"{raised.id}/raised",
        f"{raised.id}/recalled/1",
        f"{raised.id}/recalled/2",
        f"{raised.id}/returned",
        f"{raised.id}/escalated/neighbour",
        f"{raised.id}/escalated/vet",
    ]


def test_an_escalation_says_what_was_waited_for() -> None:
    """Who was told first, and how long ago."""
    raised = states.raised(dry(), T).alarm
    more = {"escalated_from": "phone", "unacknowledged_min": 12}
    matter = Matter(raised, Occasion.ESCALATED, escalation_key(raised, "vet"), more)

    document = json.loads(SCRIBE.notice(matter, channel("vet"), T).body)

    assert (document["event"], document["id"]) == ("escalated", raised.id)
    assert more.items() <= document.items()


def test_a_link_to_acknowledge_by_goes_to_people_only() -> None:
    """Not onto a bus where many read, and not with the news that all is over."""
    raised = states.raised(dry(), T).alarm
    bus = Mqtt(name="bus", kind="mqtt", topic="alarms")

    to_phone = json.loads(LINKED.notice(call(raised), PHONE, T).body)
    to_bus = json.loads(LINKED.notice(call(raised), bus, T).body)
    over = json.loads(LINKED.notice(ending(raised), PHONE, T).body)

    assert to_phone["acknowledge_url"] == f"https://dewkeep.example/{raised.id}/{T}"
    assert "acknowledge_url" not in to_bus
    assert "acknowledge_url" not in over


def test_a_summary_counts_by_place() -> None:
    """The places with the most alarms first, and not more of them than one reads."""
    alarms = [states.raised(dry(n, place=f"e{n % 7}"), T).alarm for n in range(15)]

    notice = SCRIBE.summary([call(alarm) for alarm in alarms], PHONE, T)

    key = f"summary/{T}/{alarms[0].id}"
    assert (notice.idempotency_key, notice.kind) == (key, "summary")
    assert json.loads(notice.body) == {
        "event": "summary",
        "idempotency_key": key,
        "priority": "warning",
        "alarms": 15,
        "says": "15 more alarms: 3 in e0, 2 in e1, 2 in e2, 2 in e3, 2 in e4, 4 elsewhere.",
    }


def test_a_place_that_is_gone_goes_by_its_id() -> None:
    """An alarm is never lost for want of a name."""
    notice = Scribe({}).notice(call(states.raised(dry(), T).alarm), PHONE, T)

    assert json.loads(notice.body)["enclosure_name"] == "cork-cube"


def test_places_have_the_keepers_names_and_clocks() -> None:
    """A room without a time zone of its own takes that of an enclosure in it, dewkeep the first."""
    setup = Setup(
        room=(Room(id="back-room", name="Back room"), Room(id="attic", name="Attic")),
        enclosure=(
            Enclosure(id="cork-cube", name="Cork cube", room="back-room", timezone="Europe/Lisbon"),
            Enclosure(id="moss-box", name="Moss box"),
        ),
    )

    assert whereabouts(setup) == {
        "back-room": Whereabouts("Back room", LISBON),
        "attic": Whereabouts("Attic", dt.UTC),
        "cork-cube": Whereabouts("Cork cube", LISBON),
        "moss-box": Whereabouts("Moss box", ZoneInfo("UTC")),
        "_daemon": Whereabouts("dewkeep", LISBON),
    }
