"""What could not be used, counted and told."""

import logging

import pytest

from monitor.ingest.rejects import KEPT, MOST_CHARACTERS, Reject, Rejects
from monitor.times import MINUTE_MS


def reject(at_ms: int = 0, reason: str = "malformed", topic: str = "dewkeep/a/b") -> Reject:
    """One of them."""
    return Reject(at_ms, topic, reason, "is no JSON")


def test_every_one_is_counted_by_its_reason() -> None:
    """Counts go on without end, whatever is shown."""
    rejects = Rejects()
    for _ in range(3 * KEPT):
        rejects.add(reject())
    rejects.add(reject(reason="unknown"))

    assert rejects.counts() == {"malformed": 3 * KEPT, "unknown": 1}


def test_the_last_few_are_shown_newest_first() -> None:
    """Memory is bounded."""
    rejects = Rejects()
    for at_ms in range(2 * KEPT):
        rejects.add(reject(at_ms))

    assert [each.at_ms for each in rejects.recent()] == list(reversed(range(KEPT, 2 * KEPT)))


def test_a_flood_is_told_once_a_minute(caplog: pytest.LogCaptureFixture) -> None:
    """Each reason has a line a minute at most, which says how many it left out."""
    rejects = Rejects()
    for at_ms in range(0, 2 * MINUTE_MS, 1000):
        rejects.add(reject(at_ms))
    rejects.add(reject(0, "unknown"))

    told = [record.getMessage() for record in caplog.records]
    assert told == [
        "rejected 'dewkeep/a/b': malformed: is no JSON",
        "rejected 'dewkeep/a/b': malformed: is no JSON (and 59 more since last told)",
        "rejected 'dewkeep/a/b': unknown: is no JSON",
    ]


def test_a_long_topic_is_told_in_part(caplog: pytest.LogCaptureFixture) -> None:
    """Neither the log nor what is kept to look at grows with it; usual ones are whole."""
    rejects = Rejects()
    rejects.add(Reject(0, "a/" + "b" * 65_000, "unknown", "no room " + "b" * 65_000))
    rejects.add(reject(topic="dewkeep/" + "c" * 400))

    whole, cut = rejects.recent()
    assert len(caplog.text) < 2_000
    assert cut.topic == "a/" + "b" * (MOST_CHARACTERS - 2) + "..."
    assert len(cut.says) == MOST_CHARACTERS + 3
    assert whole.topic == "dewkeep/" + "c" * 400


def test_a_topic_cannot_forge_a_line_of_the_log(caplog: pytest.LogCaptureFixture) -> None:
    """Line ends in a topic are shown as such."""
    with caplog.at_level(logging.WARNING):
        Rejects().add(reject(topic="dewkeep/a\nall is well/b"))

    assert "\n" not in caplog.text.strip()
