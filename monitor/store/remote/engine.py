"""What a server must be able to do to keep readings for dewkeep."""

from collections.abc import Mapping, Sequence
from typing import Protocol

from monitor.store.buckets import Tally
from monitor.store.readings import SeriesKey, Track

FIRST_MS, LAST_MS = 0, 9_000_000_000_000
"""Times that servers can be asked about: 1970 to 2255, within 64 bits of nanoseconds."""


class Engine(Protocol):
    """A server's own words; keys are of measured series, times within ``FIRST_MS`` and ``LAST_MS``.

    Every method raises ``StoreUnavailable`` when the server does not answer, or not as it should.
    """

    measurement: str
    """What lines begin with."""
    safe_at_once: bool
    """Whether what it has accepted survives its sudden end."""

    def write(self, lines: bytes) -> None:
        """Have lines (``lines.encode``) kept; the server has accepted all of them on return."""
        ...

    def tracks(
        self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int
    ) -> Mapping[SeriesKey, Track]:
        """The readings of some series in ``[start_ms, end_ms)``; empty series may be absent."""
        ...

    def tallies(
        self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int, width_s: int
    ) -> Mapping[SeriesKey, Tally]:
        """Readings that are not bad, added up in buckets by the server; the ends lie on widths.

        Series without any may be absent.
        """
        ...

    def newest(self, keys: Sequence[SeriesKey]) -> Mapping[SeriesKey, Track]:
        """Of each series at least the newest reading and the newest that is not bad."""
        ...

    def run(self) -> str:
        """A word that changes when the server was started anew."""
        ...

    def roll_up(self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int) -> int:
        """Prepare to forget the readings of a span of whole hours; how many there are."""
        ...

    def forget(self, keys: Sequence[SeriesKey], before_ms: int) -> None:
        """Let single readings go that are rolled up."""
        ...

    def forgotten(self, key: SeriesKey, start_ms: int, end_ms: int, width_s: int) -> Tally:
        """As ``tallies``, of a measured or derived series where single readings were forgotten."""
        ...

    def close(self) -> None:
        """Drop connections."""
        ...
