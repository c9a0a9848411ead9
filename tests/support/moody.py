"""A store that fails when a test wants it to, and keeps readings as ever otherwise."""

from monitor.errors import StoreUnavailable
from monitor.store.readings import Readings
from monitor.store.sqlite.readings import SqliteReadings
from tests.support.waiting import eventually


class MoodyReadings(SqliteReadings):
    """The embedded engine with bad days."""

    down = False
    """Whether it cannot be written to just now."""
    down_after: int | None = None
    """After so many more batches it is down; None for never."""
    chokes_on: float | None = None
    """A value that it has a mistake about."""
    deaf = False
    """Whether what is committed does not reach it, as an engine on a server may fail to."""
    tidies = True
    """Whether it can be tidied just now."""
    mistaken_tidying = False
    """Whether it has a mistake in its tidying."""
    refused = 0
    """How often it was down when asked."""

    def append(self, readings: Readings) -> None:
        """Keep readings, if it is up to it."""
        if self.down_after is not None:
            self.down_after -= 1
        self._answer(able=not self.down and (self.down_after is None or self.down_after >= 0))
        if self.chokes_on is not None and self.chokes_on in readings.value:
            raise ZeroDivisionError("a mistake in dewkeep")
        super().append(readings)

    def flush(self) -> None:
        """Nothing, if it can hear."""
        self._answer(able=not self.deaf)
        super().flush()

    def tidy(self, now_ms: int) -> None:
        """Housekeeping, if it is up to it."""
        self._answer(able=self.tidies)
        if self.mistaken_tidying:
            raise ZeroDivisionError("a mistake in dewkeep")
        super().tidy(now_ms)

    def _answer(self, *, able: bool) -> None:
        if not able:
            self.refused += 1
            raise StoreUnavailable("the disk is full")

    def wait_refused(self, times: int = 1) -> None:
        """Until it was down when asked, so often."""
        eventually(lambda: self.refused >= times, "the store is asked")
