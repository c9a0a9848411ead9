"""What the HTTP face is given to work with."""

from collections.abc import Callable
from concurrent.futures import TimeoutError as AskTimeout
from dataclasses import dataclass, field
from typing import Annotated, TypeVar, cast

from fastapi import Depends, Request

from monitor.errors import StoreUnavailable
from monitor.house.peers import Peers
from monitor.ingest.live import Hub
from monitor.ingest.loop import IngestLoop
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.jobs.foresight import Foresight
from monitor.jobs.misting import MistingDesk
from monitor.jobs.settling import Assessor
from monitor.notify.courier import Courier
from monitor.setup.settings import Settings
from monitor.species.library import Library
from monitor.store.readings import ReadingStore
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state.setup import Remembered

Answer = TypeVar("Answer")

ASK_WITHIN_S = 15.0


@dataclass(frozen=True, slots=True)
class Parts:
    """The daemon's parts, as far as a request may touch them."""

    database: Database
    readings: ReadingStore
    settings: Settings
    loop: IngestLoop
    hub: Hub
    rejects: Rejects
    library: Library
    foresight: Foresight
    misting: MistingDesk
    assessor: Assessor
    courier: Courier
    peers: Peers
    clock: Callable[[], int]
    """Epoch milliseconds now."""
    needs_token: bool
    set_up: Remembered = field(default_factory=Remembered)
    """The whole set-up, for those who ask for it often."""

    def ask(self, work: Callable[[Pipeline, int], Answer]) -> Answer:
        """Have the ingest thread change something, and wait until it is committed.

        Raises:
            StoreUnavailable: it did not come to it in time.
        """
        future = self.loop.ask(work)
        try:
            return future.result(ASK_WITHIN_S)
        except AskTimeout as exc:
            future.cancel()  # whoever tries again must not have it done twice
            raise StoreUnavailable("dewkeep is busy storing; try again") from exc


def _parts(request: Request) -> Parts:
    return cast("Parts", request.app.state.parts)


GivenParts = Annotated[Parts, Depends(_parts)]
