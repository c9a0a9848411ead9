"""The ranges an enclosure is watched against."""

import datetime as dt

import pytest

from monitor.errors import NotFound
from monitor.setup.models import Enclosure, Inhabitant, Span, Spans, Zone, ZoneRange
from monitor.setup.ranges import envelope_of, ranges_in_force, ranges_of
from monitor.species.envelope import envelope
from monitor.species.library import load_library

LIBRARY = load_library()
JUNE = dt.date(2027, 6, 15)


def _enclosure(*species: str, **own: ZoneRange) -> Enclosure:
    return Enclosure(
        id="box",
        name="Box",
        inhabitant=tuple(Inhabitant(species=each) for each in species),
        range={Zone(zone): wanted for zone, wanted in own.items()},
    )


def test_without_a_word_of_the_keeper_the_envelope_holds() -> None:
    """Zone by zone what the inhabitants share."""
    enclosure = _enclosure("correlophus-ciliatus", "ficus-pumila")
    profiles = [LIBRARY.profile(each) for each in ("correlophus-ciliatus", "ficus-pumila")]

    assert ranges_of(enclosure, LIBRARY, JUNE) == envelope(profiles, JUNE).ranges
    assert envelope_of(enclosure, LIBRARY, JUNE) == envelope(profiles, JUNE)


def test_the_keeper_overrides_key_by_key() -> None:
    """One range for one quantity and part of the day leaves all others as they are."""
    own = ZoneRange(day=Spans(humidity=Span(low=60, high=80)))
    shared = ranges_of(_enclosure("correlophus-ciliatus"), LIBRARY, JUNE)
    ranges = ranges_of(_enclosure("correlophus-ciliatus", canopy=own), LIBRARY, JUNE)

    assert ranges[Zone.CANOPY].day.humidity == Span(low=60, high=80)
    assert ranges[Zone.CANOPY].day.temperature == shared[Zone.CANOPY].day.temperature
    assert ranges[Zone.CANOPY].night == shared[Zone.CANOPY].night
    assert ranges[Zone.CANOPY].critical == shared[Zone.CANOPY].critical
    assert ranges[Zone.FLOOR] == shared[Zone.FLOOR]


def test_the_keeper_may_speak_of_a_zone_nobody_does() -> None:
    """A substrate's moisture is the keeper's own business."""
    own = ZoneRange(night=Spans(substrate_moisture=Span(low=30, high=60)))

    assert ranges_of(_enclosure(substrate=own), LIBRARY, JUNE) == {Zone.SUBSTRATE: own}


def test_an_empty_enclosure_has_no_ranges() -> None:
    """Nobody lives there, nothing is asked."""
    assert ranges_of(_enclosure(), LIBRARY, JUNE) == {}


def test_an_unknown_species_is_told() -> None:
    """A profile that went away since the set-up was applied is not passed over."""
    with pytest.raises(NotFound, match="no species profile 'nobody'"):
        ranges_of(_enclosure("nobody"), LIBRARY, JUNE)


def test_a_missing_profile_leaves_the_keepers_own_ranges(caplog: pytest.LogCaptureFixture) -> None:
    """The watch goes on with what there is, and the log names enclosure and species."""
    own = ZoneRange(day=Spans(humidity=Span(low=60, high=80)))
    enclosure = _enclosure("some-newt", canopy=own)

    assert ranges_in_force(enclosure, LIBRARY, JUNE) == {Zone.CANOPY: own}
    assert "enclosure box is watched by its own ranges only" in caplog.text
    assert "'some-newt'" in caplog.text
