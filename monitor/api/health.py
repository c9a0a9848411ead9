"""For whoever watches the watcher: is it alive, is it ready, how is it doing."""

from collections.abc import Iterable
from typing import Any

from fastapi import APIRouter, Response
from prometheus_client import CollectorRegistry
from prometheus_client.metrics_core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    Metric,
)
from prometheus_client.openmetrics import exposition
from pydantic import BaseModel

from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.errors import StoreError
from monitor.ingest.loop import LoopState
from monitor.store.sqlite.state import alarms
from monitor.times import rfc3339

router = APIRouter(tags=["health"])
root = APIRouter(tags=["health"])


class Liveness(BaseModel):
    """Whether the ingest loop turns."""

    alive: bool
    beat_age_s: float


class Check(BaseModel):
    """One part of the whole."""

    ok: bool
    says: str


class Readiness(BaseModel):
    """Whether readings come in and are kept, and how each part does."""

    ready: bool
    loop: Check
    broker: Check
    store: Check
    lag: Check
    channels: Check


@root.get("/healthz", responses={503: {"description": "It does not.", "model": Liveness}})
def get_liveness(parts: GivenParts, response: Response) -> Liveness:
    """Whether the process does its work at all; if not, restart it."""
    loop = parts.loop.state()
    if not loop.alive:
        response.status_code = 503
    return Liveness(alive=loop.alive, beat_age_s=round(loop.beat_age_s, 1))


@root.get("/readyz", responses={503: {"description": "They cannot.", "model": Readiness}})
def get_readiness(parts: GivenParts, response: Response) -> Readiness:
    """Whether readings can come in and be kept; 503 with what is wrong if they cannot.

    How far behind the readings are, and what waits to be told, is said too and changes no verdict.
    """
    found = readiness(parts)
    if not found.ready:
        response.status_code = 503
    return found


def readiness(parts: Parts) -> Readiness:
    """How each part does."""
    link, loop = parts.loop.link.state, parts.loop.state()
    checks = {
        "loop": (loop.alive, "running" if loop.alive else "the ingest thread has stopped"),
        "broker": (link.connected, link.says),
        "store": (loop.store_says is None, loop.store_says or "storing"),
    }
    told = {name: Check(ok=fine, says=says) for name, (fine, says) in checks.items()}
    ready = all(fine for fine, _ in checks.values())
    return Readiness(ready=ready, **told, lag=_lag(loop), channels=_outbox(parts))


def _lag(loop: LoopState) -> Check:
    if loop.lag_s is None:
        return Check(ok=True, says="no reading since the start")
    return Check(ok=True, says=f"the last readings taken in were {loop.lag_s:.0f} s old")


def _outbox(parts: Parts) -> Check:
    try:
        rows = parts.courier.health()
    except StoreError:
        return Check(ok=False, says="the outbox cannot be read; the log tells more")
    stopped = [row.channel for row in rows if not row.alive]
    if stopped:
        return Check(ok=False, says=f"stopped: {', '.join(stopped)}")
    oldest = [row.oldest_ms for row in rows if row.oldest_ms is not None]
    if not oldest:
        return Check(ok=True, says="nothing waits")
    age_s = (parts.clock() - min(oldest)) / 1000
    waiting = sum(row.waiting for row in rows)
    return Check(ok=True, says=f"{waiting} waiting, the oldest for {age_s:.0f} s")


@router.get("/health")
def get_health(parts: GivenParts, _who: MayView) -> dict[str, Any]:
    """All of it, for the keeper's eyes: broker, store, channels, rejected messages."""
    link, loop = parts.loop.link.state, parts.loop.state()
    return {
        "broker": {
            "connected": link.connected,
            "since": rfc3339(round(link.since * 1000)),
            "says": link.says,
            "received": link.received,
        },
        "store": {"ok": loop.store_says is None, "says": loop.store_says or "storing"},
        "loop": {
            "alive": loop.alive,
            "held_messages": loop.held_messages,
            "repeated_readings": loop.repeated_readings,
            "mistakes": loop.mistakes,
        },
        "channels": [
            {
                "name": row.channel,
                "alive": row.alive,
                "waiting": row.waiting,
                "given_up": row.given_up,
                "called_off": row.called_off,
                "last_error": row.last_error,
            }
            for row in parts.courier.health()
        ],
        "rejected": {
            "counts": parts.rejects.counts(),
            "recent": [
                {
                    "at": rfc3339(reject.at_ms),
                    "topic": reject.topic,
                    "reason": reject.reason,
                    "says": reject.says,
                }
                for reject in parts.rejects.recent()
            ],
        },
        "live": {"listeners": parts.hub.listeners, "dropped_events": parts.hub.dropped},
    }


_OPEN_METRICS: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The counts.",
        "content": {"application/openmetrics-text": {"schema": {"type": "string"}}},
    }
}


@root.get("/metrics", response_class=Response, responses=_OPEN_METRICS)
def get_metrics(parts: GivenParts, _who: MayView) -> Response:
    """The same in numbers, as OpenMetrics text."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Collector(parts))
    return Response(
        exposition.generate_latest(registry),  # type: ignore[no-untyped-call]
        media_type=exposition.CONTENT_TYPE_LATEST,
    )


def _wal_bytes(parts: Parts) -> int:
    path = parts.database.path
    try:
        return path.with_name(f"{path.name}-wal").stat().st_size
    except OSError:
        return 0


class _Collector:
    """Reads the counts when asked, so that nothing is kept twice."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts

    def collect(self) -> Iterable[Metric]:
        """All metric families."""
        parts = self._parts
        link, loop = parts.loop.link.state, parts.loop.state()
        with parts.database.reading() as connection:
            open_alarms = alarms.still_open(connection)
        channels = parts.courier.health()
        now_ms = parts.clock()

        yield GaugeMetricFamily(
            "dewkeep_broker_connected", "1 while connected to the broker", link.connected
        )
        yield CounterMetricFamily("dewkeep_messages", "MQTT messages received", link.received)
        yield GaugeMetricFamily(
            "dewkeep_messages_held", "Messages not kept yet, nor acknowledged", loop.held_messages
        )
        yield CounterMetricFamily(
            "dewkeep_readings_repeated",
            "Readings that came again and were left out",
            loop.repeated_readings,
        )
        yield GaugeMetricFamily(
            "dewkeep_loop_beat_age_seconds",
            "Since the ingest loop last turned",
            loop.beat_age_s,
            unit="seconds",
        )
        if loop.lag_s is not None:
            yield GaugeMetricFamily(
                "dewkeep_lag_seconds",
                "Age of the newest reading of the last batch when it was taken in",
                loop.lag_s,
                unit="seconds",
            )
        yield GaugeMetricFamily(
            "dewkeep_wal_bytes", "Size of the write-ahead log", _wal_bytes(parts), unit="bytes"
        )
        yield CounterMetricFamily(
            "dewkeep_loop_mistakes", "Messages and turns dewkeep itself failed on", loop.mistakes
        )
        yield GaugeMetricFamily(
            "dewkeep_store_ok", "1 while the store takes what comes", loop.store_says is None
        )
        rejected = CounterMetricFamily(
            "dewkeep_rejected", "Messages and values rejected", labels=["reason"]
        )
        for reason, count in parts.rejects.counts().items():
            rejected.add_metric([reason], count)
        yield rejected
        standing = GaugeMetricFamily("dewkeep_alarms_open", "Alarms not closed", labels=["state"])
        for state in sorted({row.state for row in open_alarms}):
            standing.add_metric([state], sum(row.state == state for row in open_alarms))
        yield standing
        waiting = GaugeMetricFamily(
            "dewkeep_outbox_waiting", "Notifications not delivered yet", labels=["channel"]
        )
        oldest = GaugeMetricFamily(
            "dewkeep_outbox_oldest_seconds",
            "Age of the oldest of them",
            labels=["channel"],
            unit="seconds",
        )
        for row in channels:
            waiting.add_metric([row.channel], row.waiting)
            if row.oldest_ms is not None:
                oldest.add_metric([row.channel], (now_ms - row.oldest_ms) / 1000)
        yield waiting
        yield oldest
        answers = GaugeMetricFamily(
            "dewkeep_peer_answers", "1 while another daemon of the house answers", labels=["peer"]
        )
        for peer in parts.peers.seen():
            answers.add_metric([peer.name], peer.answers)
        yield answers
        yield CounterMetricFamily(
            "dewkeep_live_events_dropped", "Events that slow listeners missed", parts.hub.dropped
        )
