"""Each rule by itself, on parts made by hand."""

from dataclasses import replace

import pytest

from monitor.analysis.causes import CauseKind
from monitor.analysis.causes.custom import Custom
from monitor.analysis.causes.parts import Part, Parts, Peer, RoomPart
from monitor.analysis.causes.rules import Share, confirms, decide, water_share

DRYING, WARMING, MIXED = CauseKind.DRYING, CauseKind.WARMING, CauseKind.MIXED
ROOM, PROBE, SWING = CauseKind.ROOM, CauseKind.PROBE, CauseKind.SWING
NEVER, ALWAYS = Custom(7, 0), Custom(7, 7)
AGREES = Peer(heat=0.0, gain=0.9, unconfirmed=0.0, scatter=0.01)
DENIES = Peer(heat=0.0, gain=0.9, unconfirmed=0.3, scatter=0.01)


def pushing(push: float, scatter: float = 0.02) -> RoomPart:
    """A room that may do so much."""
    return RoomPart(vapour=2.0 * push, saturation=0.0, push=push, scatter=scatter)


def made(water: float, heat: float, **more: object) -> Parts:
    """A departure of so much water and warmth, the room known and calm, one probe agreeing."""
    parts = Parts(
        vapour=water,
        saturation=heat,
        water=Part(water, scatter=0.01, usual=0.02),
        heat=Part(heat, scatter=0.01, usual=0.02),
        heat_before=0.0,
        room=pushing(0.0),
        peers=(AGREES,),
        days=7,
    )
    return replace(parts, **more)  # type: ignore[arg-type]


def named(parts: Parts, usage: Custom = NEVER, *, jumped: bool = False) -> CauseKind:
    """The cause."""
    return decide(parts, water_share(parts), usage, jumped).kind


def held(parts: Parts, usage: Custom = NEVER, *, jumped: bool = False) -> set[CauseKind]:
    """The set of what it could be."""
    return set(decide(parts, water_share(parts), usage, jumped).could_be)


@pytest.mark.parametrize(
    ("water", "heat", "cause"),
    [
        (0.3, 0.0, DRYING),
        (0.3, -0.1, DRYING),
        (0.3, 0.12, DRYING),
        (0.0, 0.3, WARMING),
        (-0.1, 0.3, WARMING),
        (0.3, 0.3, MIXED),
    ],
)
def test_the_larger_part_names_the_cause(water: float, heat: float, cause: CauseKind) -> None:
    """Sixty per cent of what is unusual names it; with neither it is mixed, and nothing else."""
    assert named(made(water, heat)) is cause
    assert held(made(water, heat)) == {cause}


def test_near_the_boundary_both_answers_stand() -> None:
    """A share whose interval reaches over the boundary leaves both."""
    parts = made(0.3, 0.2)
    parts = replace(parts, water=replace(parts.water, scatter=0.05))

    assert held(parts) == {MIXED, DRYING}


def test_only_what_is_unusual_counts() -> None:
    """Water within its usual range does not make a warming mixed."""
    parts = made(0.12, 0.15)

    assert named(parts) is MIXED
    assert named(replace(parts, water=Part(0.12, 0.01, usual=0.12))) is WARMING


def test_warmth_that_is_over_still_is_the_cause() -> None:
    """Half a day of heat takes the water along; what is left to see is dry air."""
    assert named(made(0.3, 0.0, heat_before=0.15)) is WARMING


@pytest.mark.parametrize(
    ("push", "cause", "could_be"),
    [
        (0.25, ROOM, {ROOM}),
        (0.15, ROOM, {ROOM, DRYING}),
        (0.09, DRYING, {ROOM, DRYING}),
        (0.0, DRYING, {DRYING}),
        (-0.2, DRYING, {DRYING}),
    ],
)
def test_the_room_is_named_by_what_it_can_do(
    push: float, cause: CauseKind, could_be: set[CauseKind]
) -> None:
    """The larger the room's share, the surer; a damp room never explains dry air."""
    assert named(made(0.3, 0.0, room=pushing(push))) is cause
    assert held(made(0.3, 0.0, room=pushing(push))) == could_be


def test_a_room_as_on_other_days_is_no_cause() -> None:
    """A room that varies so much every day has not done it today."""
    assert named(made(0.3, 0.0, room=pushing(0.15, scatter=0.1))) is DRYING


def test_without_a_probe_in_the_room_it_is_never_ruled_out() -> None:
    """Drying or room: no false certainty."""
    assert held(made(0.3, 0.0, room=None)) == {DRYING, ROOM}


def test_warmth_everywhere_comes_from_outside() -> None:
    """Without a probe in the room, probes that warm alike point to it; one alone points inside."""
    alike = replace(AGREES, heat=0.3)
    local = replace(AGREES, heat=0.05)

    assert named(made(0.0, 0.3, room=None, peers=(alike,))) is ROOM
    assert named(made(0.0, 0.3, room=None, peers=(local,))) is WARMING


def test_a_probe_that_others_deny_is_not_believed() -> None:
    """One denial names the probe; one confirmation clears it, however many deny."""
    assert named(made(0.3, 0.0, peers=(DENIES,))) is PROBE
    assert held(made(0.3, 0.0, peers=(DENIES,))) == {PROBE}
    assert named(made(0.3, 0.0, peers=(DENIES, AGREES))) is DRYING
    assert not confirms(DENIES, made(0.3, 0.0))
    assert confirms(AGREES, made(0.3, 0.0))


@pytest.mark.parametrize(("unconfirmed", "cause"), [(0.15, PROBE), (0.11, DRYING)])
def test_half_a_confirmation_leaves_both(unconfirmed: float, cause: CauseKind) -> None:
    """About half unconfirmed: the likelier is named, the other kept."""
    peer = replace(DENIES, unconfirmed=unconfirmed)

    assert named(made(0.3, 0.0, peers=(peer,))) is cause
    assert held(made(0.3, 0.0, peers=(peer,))) == {DRYING, PROBE}


def test_probes_that_never_agreed_accuse_nobody() -> None:
    """A disagreement within five times the usual is none."""
    assert named(made(0.3, 0.0, peers=(replace(DENIES, scatter=0.08),))) is DRYING


@pytest.mark.parametrize("peers", [(), (replace(DENIES, gain=0.2),)])
def test_without_a_witness_the_probe_stays_suspect(peers: tuple[Peer, ...]) -> None:
    """No other probe, or one that does not follow: drying or probe; heat speaks for itself."""
    assert held(made(0.3, 0.0, peers=peers)) == {DRYING, PROBE}
    assert held(made(0.0, 0.3, peers=peers)) == {WARMING}
    assert named(made(0.3, 0.0, peers=peers), jumped=True) is PROBE
    assert held(made(0.3, 0.0, peers=peers), jumped=True) == {DRYING, PROBE}


def test_a_jump_that_others_confirm_was_real() -> None:
    """A witness outweighs the look of the fall."""
    assert named(made(0.3, 0.0), jumped=True) is DRYING


def test_a_usual_crossing_that_is_as_usual_is_a_swing() -> None:
    """Both are needed: that the limit is often crossed at this hour, and that today is like it."""
    assert named(made(0.02, 0.01), ALWAYS) is SWING
    assert held(made(0.02, 0.01), ALWAYS) == {SWING}
    assert named(made(0.02, 0.01), NEVER) is not SWING
    assert named(made(0.3, 0.0), ALWAYS) is DRYING


@pytest.mark.parametrize(
    "parts",
    [
        made(0.09, 0.0),
        made(-0.1, 0.15),
        made(0.02, 0.0, peers=(replace(DENIES, unconfirmed=0.08),)),
    ],
)
def test_a_fault_does_not_hide_in_a_usual_crossing(parts: Parts) -> None:
    """Not if its parts cancel out, nor if only one probe tells of it."""
    assert named(parts, ALWAYS) is not SWING
    assert SWING in held(parts, ALWAYS)


def test_little_history_leaves_the_swing_open() -> None:
    """With two days nobody knows what is usual; with none even less."""
    assert held(made(0.3, 0.0, days=2)) == {DRYING, SWING}
    assert held(made(0.3, 0.0, days=0)) == set(CauseKind) - {ROOM}


def test_no_departure_at_all_is_an_open_question() -> None:
    """Where nothing points towards the limit the share is anything."""
    assert water_share(made(-0.1, -0.1)) == Share(0.5, 0.0, 1.0)
