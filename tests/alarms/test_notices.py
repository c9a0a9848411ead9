"""Which alarms are told, where, and how."""

import datetime as dt
import json
from dataclasses import replace
from typing import get_args
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms import states
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.notices import Whereabouts, notices_for, whereabouts
from monitor.alarms.wording import wire
from monitor.quantities import Quantity
from monitor.setup.channels import PriorityName, Webhook
from monitor.setup.models import Enclosure, Room, Setup, Zone

T = 1_796_000_000_000
LISBON = ZoneInfo("Europe/Lisbon")
PLACES = {"cork-cube": Whereabouts("Cork cube", LISBON)}
PHONE = Webhook(name="phone", kind="webhook", url="https://hooks.example/")


def dry(number: int = 0, priority: Priority = Priority.WARNING) -> Alarm:
    """A humidity alarm that is about to be raised."""
    point = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
    return Alarm(
        id=f"{point}.{T + number}",
        point=point,
        zone=Zone.CANOPY,
        priority=priority,
        state=State.NORMAL,
        since_ms=T - 1_200_000,
        raised_at_ms=T,
        value=38.2,
        limit=60.0,
        extreme=38.2,
    )


def test_a_raised_alarm_is_told_as_the_api_gives_it() -> None:
    """With the enclosure's name, and one key for each occurrence."""
    raised = states.raised(dry(), T)

    (notice,) = notices_for([raised], [PHONE], PLACES, T)

    assert notice.channel == "phone"
    assert notice.kind == "raised"
    assert notice.idempotency_key == f"cork-cube.canopy.humidity.low.{T}/raised"
    assert json.loads(notice.body) == {
        "event": "raised",
        "enclosure_name": "Cork cube",
        **wire(raised.alarm, LISBON, T),
    }


@pytest.mark.parametrize(
    ("from_priority", "told"),
    [
        ("critical", [Priority.CRITICAL]),
        ("warning", [Priority.CRITICAL, Priority.WARNING]),
        ("advice", [Priority.CRITICAL, Priority.WARNING, Priority.ADVICE]),
    ],
)
def test_a_channel_gets_what_is_urgent_enough(
    from_priority: PriorityName, told: list[Priority]
) -> None:
    """Its own priority and all above it."""
    channel = PHONE.model_copy(update={"from_priority": from_priority})
    events = [states.raised(dry(n, priority), T) for n, priority in enumerate(Priority)]

    notices = notices_for(events, [channel], PLACES, T)

    assert [json.loads(notice.body)["priority"] for notice in notices] == told


def test_every_priority_can_be_chosen_for_a_channel() -> None:
    """The words of the settings are those of alarms."""
    assert set(get_args(PriorityName)) == set(Priority)


def test_each_channel_gets_its_own_notice() -> None:
    """Two channels, two entries, under the same key."""
    mail = PHONE.model_copy(update={"name": "mail"})

    notices = notices_for([states.raised(dry(), T)], [PHONE, mail], PLACES, T)

    assert [notice.channel for notice in notices] == ["phone", "mail"]
    assert len({notice.idempotency_key for notice in notices}) == 1


def test_what_needs_no_one_is_not_told() -> None:
    """Neither an acknowledgement nor a return, nor an alarm that was silent from the start."""
    raised = states.raised(dry(), T).alarm
    quiet = [
        states.acknowledged(raised, "keeper", T + 1),
        states.returned(raised, T + 1),
        states.suppressed(dry(), "cork-cube.canopy.humidity.critical-low", T),
        states.raised(replace(dry(), state=State.SHELVED, returned_at_ms=T - 1), T),
    ]

    assert notices_for(quiet, [PHONE], PLACES, T) == []


def test_an_alarm_that_the_same_step_silences_is_not_told() -> None:
    """Of two alarms for one crash in one batch only the graver leaves."""
    raised = states.raised(dry(), T)
    silenced = states.suppressed(raised.alarm, "cork-cube.canopy.humidity.critical-low", T)

    assert notices_for([raised, silenced], [PHONE], PLACES, T) == []


def test_an_alarm_that_comes_to_stand_on_its_own_is_told() -> None:
    """When the graver one is over, the keeper hears of the one that remains."""
    silent = states.suppressed(dry(), "cork-cube.canopy.humidity.critical-low", T).alarm

    (notice,) = notices_for([states.unsuppressed(silent, T + 1)], [PHONE], PLACES, T)

    assert notice.idempotency_key == f"{silent.id}/raised"


def test_a_crash_that_is_over_within_one_batch_is_told_with_its_end() -> None:
    """Readings that come late in bulk still tell what happened, as it stands now."""
    raised = states.raised(dry(), T)
    over = states.returned(raised.alarm, T + 60_000)

    (notice,) = notices_for([raised, over], [PHONE], PLACES, T + 60_000)

    assert json.loads(notice.body)["state"] == "returned-unacknowledged"


def test_a_place_that_is_gone_goes_by_its_id() -> None:
    """An alarm is never lost for want of a name."""
    (notice,) = notices_for([states.raised(dry(), T)], [PHONE], {}, T)

    assert json.loads(notice.body)["enclosure_name"] == "cork-cube"


def test_places_have_the_keepers_names_and_clocks() -> None:
    """A room without a time zone of its own takes that of an enclosure in it."""
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
    }
