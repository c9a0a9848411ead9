"""What it is like now, and what it was like."""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from monitor.analysis.now import probe_now
from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.api.spans import From, To, span
from monitor.errors import NotFound
from monitor.quantities import MEASURED, Quantity, unit_of
from monitor.setup.models import Enclosure, Probe, Room
from monitor.store.readings import Latest, SeriesKey
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, rfc3339

router = APIRouter(tags=["climate"])

MOST_POINTS = 10_000


@router.get("/enclosures/{enclosure}/climate")
def get_climate(enclosure: str, parts: GivenParts, _who: MayView) -> dict[str, Any]:
    """The newest reading of every probe, with what follows from it; a room has a climate too."""
    with parts.database.reading() as connection:
        place = setup.get(connection, enclosure).place
    known, latest = parts.readings.known_series(), parts.readings.latest()

    def measured(probe: str) -> dict[Quantity, Latest]:
        ids = {q: known.get(SeriesKey(enclosure, probe, q), -1) for q in MEASURED}
        return {q: latest[series] for q, series in ids.items() if series in latest}

    return {
        "enclosure": enclosure,
        "at": rfc3339(parts.clock()),
        "probes": [
            probe_now(probe, measured(probe.id)) | _forecast(parts, place, probe)
            for probe in place.probe
        ],
    }


def _forecast(parts: Parts, place: Room | Enclosure, probe: Probe) -> dict[str, Any]:
    """When its humidity will cross a limit, where it has one."""
    told = parts.foresight.of(place, probe) if isinstance(place, Enclosure) else {}
    return {"forecast": told} if told else {}


@router.get("/enclosures/{enclosure}/series")
def get_series(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    probe: Annotated[str, Query()],
    quantity: Annotated[Quantity, Query()],
    start: From = None,
    end: To = None,
    points: Annotated[int, Query(ge=1, le=MOST_POINTS)] = 600,
) -> dict[str, Any]:
    """One quantity of one probe over a span, in at most `points` buckets that keep extremes.

    As single readings (`resolution_s` 0) if there are no more than that.
    """
    with parts.database.reading() as connection:
        place = setup.get(connection, enclosure).place
    if probe not in {known.id for known in place.probe}:
        raise NotFound(f"{enclosure!r} has no probe {probe!r}")
    start_ms, end_ms = span(start, end, parts.clock(), DAY_MS)
    buckets = parts.readings.buckets(
        SeriesKey(enclosure, probe, quantity), start_ms, end_ms, points
    )
    return {
        "probe": probe,
        "quantity": quantity,
        "unit": unit_of(quantity),
        "resolution_s": buckets.resolution_s,
        "columns": ["at", "mean", "min", "max", "count"],
        "points": list(
            zip(
                buckets.at_ms.tolist(),
                buckets.mean.round(4).tolist(),
                buckets.low.round(4).tolist(),
                buckets.high.round(4).tolist(),
                buckets.count.tolist(),
                strict=True,
            )
        ),
    }
