"""The short form of `python -m tests.studies.study_soak`, whose figures stand in the docs."""

from pathlib import Path

import pytest

from tests.studies.study_soak import soak


@pytest.mark.slow
def test_an_hour_leaves_nothing_behind(tmp_path: Path) -> None:
    """Memory, files and threads stay flat, the write-ahead log stays bounded, nothing is lost."""
    run = soak(tmp_path, hours=2.0, speed=300.0, probes=20)
    settled = run.settled

    assert run.received >= run.sent
    assert max(look.files for look in settled) - min(look.files for look in settled) <= 10
    assert max(look.threads for look in settled) - min(look.threads for look in settled) <= 10
    blocks = [look.inside.blocks for look in settled]
    assert max(blocks) < 1.05 * min(blocks)
    assert max(look.wal_mb for look in run.looks) < 32
    assert settled[-1].memory_mb - settled[0].memory_mb < 15
