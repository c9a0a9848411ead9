"""The daemon: every part in its place, started in order, stopped in the opposite order."""

import asyncio
import gc
import logging
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack

from monitor.api.access import is_loopback
from monitor.api.app import create_app
from monitor.api.parts import Parts
from monitor.daemon import web_server
from monitor.daemon.broker import EmbeddedBroker
from monitor.daemon.claim import Claim
from monitor.daemon.supervisor import Supervisor, Watchdog
from monitor.errors import Conflict, Problem, SettingsError, StoreError
from monitor.house.peers import Peers
from monitor.ingest.link import Link
from monitor.ingest.live import Hub
from monitor.ingest.loop import IngestLoop
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.ingest.topics import Template
from monitor.jobs import setup_file
from monitor.jobs.calibrating import FORGOTTEN_EVERY_S, Calibrating
from monitor.jobs.clockwork import Clockwork
from monitor.jobs.explainer import Explainer
from monitor.jobs.foresight import Foresight
from monitor.jobs.misting import MistingDesk
from monitor.jobs.nights import Nights
from monitor.jobs.reporter import LOOK_EVERY_S, Reporter
from monitor.jobs.settling import Assessor
from monitor.jobs.trusting import Trusting
from monitor.jobs.verdicts import LOOK_EVERY_S as VERDICTS_EVERY_S
from monitor.jobs.verdicts import Verdicts
from monitor.notify.board import AlarmBoard
from monitor.notify.courier import Courier
from monitor.notify.heartbeat import Heartbeat
from monitor.notify.kinds import channels
from monitor.notify.target import Target
from monitor.setup.file import load_setup
from monitor.setup.settings import HeartbeatSettings, Settings
from monitor.setup.share import ShareSettings
from monitor.setup.sources import must_agree
from monitor.species.library import Library, load_library
from monitor.store.engines import opened
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox, setup, tokens
from monitor.web import pages

log = logging.getLogger(__name__)

BROKER_WITHIN_S = 5.0
"""How long `ready` waits for the broker; without one the daemon is up and says what it lacks."""
FROM_FILE = "set-up file"
"""Who changed the set-up when the file at start did."""

Clock = Callable[[], int]


def wall_clock() -> int:
    """Epoch milliseconds now."""
    return time.time_ns() // 1_000_000


def run(settings: Settings, say: Callable[[str], None] = print, clock: Clock = wall_clock) -> None:
    """Run in the foreground until SIGTERM or SIGINT; ``say`` is told when it is ready.

    Raises:
        SettingsError: the port, the set-up file, a species, a secret or the tokens that an open
            address needs cannot be had.
        StoreError: the database cannot be opened, or its engine does not answer; with a share, the
            broker does not.
        Conflict: another daemon watches some of the same enclosures.
    """
    with ExitStack() as stack:
        server = settings.server
        listening = stack.enter_context(web_server.bind(server.host, server.port))
        library = load_library(settings.setup.species)
        database = Database(settings.store.path)
        stack.callback(database.close)
        _apply_setup_file(settings, library, database, clock())
        needs_token = not is_loopback(server.host)
        if needs_token:
            _require_tokens(settings, database)
        if settings.broker.embedded:
            broker = EmbeddedBroker(settings.broker.host, settings.broker.port)
            broker.start()
            stack.callback(broker.stop)

        claim = _claim(settings, stack)
        readings = stack.enter_context(opened(settings.store, database))
        hub, rejects = Hub(), Rejects()
        courier = Courier(database, channels(settings, clock=clock), clock=clock)
        explainer = Explainer(database, readings, clock, courier.wake)
        pipeline = Pipeline(
            database,
            readings,
            settings,
            library,
            hub,
            rejects,
            told=courier.wake,
            raised=explainer.look,
            now_ms=clock(),
        )
        link = Link(
            settings.broker,
            [Template(source).filter for source in settings.source],
            f"dewkeep-state/{settings.broker.client_id}",
        )
        loop = IngestLoop(link, pipeline, clock)
        clockwork = Clockwork()
        clockwork.daily("forget", 3, 17, lambda: loop.ask(Pipeline.forget).result())
        calibrating = Calibrating(database, readings, settings.calibration)
        clockwork.every(
            "salt boxes", FORGOTTEN_EVERY_S, lambda: calibrating.abandon_forgotten(clock())
        )
        trusting = Trusting(database, readings)
        clockwork.daily("probe checks", 4, 11, lambda: trusting.look_at_all(clock()))
        if settings.report.channels:
            nights = Nights(database, readings, library, settings.share.has)
            reporter = Reporter(database, nights, settings.report, clock, courier.wake)
            clockwork.every("morning report", LOOK_EVERY_S, reporter.look)
        assessor = Assessor(database, readings, library, settings.settling.limits)
        verdicts = Verdicts(
            database,
            assessor,
            settings.settling,
            lambda ruling: loop.ask(lambda pipeline, now: pipeline.settle(*ruling, now)).result(),
            clock,
        )
        clockwork.every("verdicts", VERDICTS_EVERY_S, verdicts.look)
        board = AlarmBoard(settings.broker, database, clock=clock)
        peers = Peers(settings.peer, settings.broker.client_id, clock=clock)
        for part in (courier, explainer, loop, board, clockwork, peers):
            part.start()
            stack.callback(part.stop)
        supervisor = Supervisor()
        watchdog = Watchdog(supervisor, lambda: _lives(loop, database))
        watchdog.start()
        stack.callback(watchdog.stop)
        for heartbeat in _heartbeats(settings.heartbeat, lambda: _well(loop, courier), clock):
            heartbeat.start()
            stack.callback(heartbeat.stop)

        app = create_app(
            Parts(
                database=database,
                readings=readings,
                settings=settings,
                loop=loop,
                hub=hub,
                rejects=rejects,
                library=library,
                assessor=assessor,
                foresight=Foresight(readings, library, clock),
                misting=MistingDesk(database, readings, library),
                courier=courier,
                peers=peers,
                clock=clock,
                needs_token=needs_token,
            )
        )
        pages.install(app)

        async def when_up() -> None:
            until = time.monotonic() + BROKER_WITHIN_S
            while not link.state.connected and time.monotonic() < until:
                await asyncio.sleep(0.01)
            if not link.state.connected:
                log.warning("up, but without a broker yet: %s", link.state.says)
            host = f"[{server.host}]" if ":" in server.host else server.host
            supervisor.tell("READY=1")
            say(f"ready on http://{host}:{server.port}")

        def before_exit() -> None:
            supervisor.tell("STOPPING=1")
            hub.end()

        # What is there now stays until the end: looking through it again and again for garbage
        # would make a page wait a tenth of a second every few requests.
        gc.collect()
        gc.freeze()
        web_server.serve(app, listening, when_up, before_exit)
        log.info("stopping")
        if claim is not None and claim.says:
            raise Conflict(claim.says)


def _apply_setup_file(
    settings: Settings, library: Library, database: Database, now_ms: int
) -> None:
    """Put the file's set-up in force, and see that all there is goes with the settings."""
    filed = setup_file.NOTHING
    with database.transaction() as connection:
        if settings.setup.file is not None:
            wanted = load_setup(settings.setup.file, library)
            filed = setup_file.put_in_force(connection, wanted.places, FROM_FILE, now_ms)
            told = setup_file.notices(filed.undone, settings.channel, now_ms)
            outbox.add(connection, told, now_ms)
        must_agree(settings.source, setup.everything(connection))
    for found in filed.kept:
        log.info("%s: %s", settings.setup.file, setup_file.kept_says(found))
    for found in filed.undone:
        log.warning("%s: %s", settings.setup.file, setup_file.undone_says(found))


def _claim(settings: Settings, stack: ExitStack) -> Claim | None:
    """The claim of a daemon that others may stand beside; one with a file of its own needs none."""
    if settings.share == ShareSettings() and settings.store.engine == "sqlite":
        return None

    def lost(says: str) -> None:
        log.error("%s; stopping", says)
        signal.raise_signal(signal.SIGTERM)

    claim = Claim(settings.broker, settings.share, lost)
    claim.take()
    stack.callback(claim.release)
    return claim


def _require_tokens(settings: Settings, database: Database) -> None:
    with database.reading() as connection:
        usable = [token for token in tokens.everyone(connection) if token.revoked_ms is None]
    if not usable:
        raise SettingsError(
            [
                Problem(
                    "settings",
                    "server.host",
                    f"{settings.server.host} can be reached from other machines, so tokens are "
                    "needed first: dewkeep token new --scope operate",
                )
            ]
        )


def _heartbeats(
    settings: HeartbeatSettings, healthy: Callable[[], bool], clock: Clock
) -> Iterator[Heartbeat]:
    """The heartbeat, if one is set up."""
    if settings.url is not None:
        target = Target(settings.url, allow_private=settings.allow_private, clock=clock)
        yield Heartbeat(target, method=settings.method, every_s=settings.every_s, healthy=healthy)


def _lives(loop: IngestLoop, database: Database) -> bool:
    """Whether a fresh start could do no better: the loop turns and the store answers."""
    try:
        with database.reading() as connection:
            setup.revision(connection)
    except StoreError as exc:
        log.error("the store does not answer: %s", exc)
        return False
    return loop.state().alive


def _well(loop: IngestLoop, courier: Courier) -> bool:
    """Whether readings come in and are kept, and the channels' loops run."""
    state = loop.state()
    return (
        state.alive
        and state.store_says is None
        and loop.link.state.connected
        and all(channel.alive for channel in courier.health())
    )
