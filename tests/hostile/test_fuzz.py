"""The short form of `python -m tests.hostile.fuzz`, whose figures stand in docs/security.md."""

from pathlib import Path

from tests.hostile.fuzz import feed_all, targets


def test_whatever_it_is_it_is_read_or_refused(tmp_path: Path) -> None:
    """Decoders, settings, set-ups, profiles and logs: an answer or an error of ours."""
    assert feed_all(6_000, 20_261_125, tmp_path) == []


def test_every_target_takes_its_own_seeds(tmp_path: Path) -> None:
    """What is spoiled is something that would have been right: no target refuses all it is fed."""
    for target in targets(tmp_path).values():
        target.feed(target.seeds[0])
