"""The application: all routes under one roof, with one shape of error and one gate."""

from fastapi import APIRouter, FastAPI

from monitor import __version__
from monitor.api import (
    alarms,
    calibrations,
    climate,
    compatibility,
    events,
    health,
    history,
    house,
    journal,
    links,
    misting,
    nights,
    photos,
    places,
    probes,
    problems,
    quiet,
    rehearsal,
    settling,
    species,
)
from monitor.api.access import OwnMachineOnly
from monitor.api.limits import FewGuesses, SmallBodies
from monitor.api.parts import Parts

PREFIX = "/api/v1"


def create_app(parts: Parts) -> FastAPI:
    """The HTTP face over the daemon's parts."""
    app = FastAPI(
        title="dewkeep",
        version=__version__,
        summary="The climate of living enclosures: readings, alarms, set-up, journal.",
        docs_url=None,  # its page loads scripts from elsewhere
        redoc_url=None,
        responses=problems.RESPONSES,
        generate_unique_id_function=lambda route: route.name,
    )
    # The first that knows streams of events, which FastAPI describes though it says 3.1.
    app.openapi_version = "3.2.0"
    app.state.parts = parts
    problems.install(app)
    if parts.needs_token:
        app.add_middleware(FewGuesses, asking=PREFIX)
    else:
        app.add_middleware(OwnMachineOnly)
    app.add_middleware(SmallBodies)
    api = APIRouter(prefix=PREFIX)
    for module in (
        *(places, climate, settling, misting, alarms, quiet, nights, rehearsal),
        *(journal, photos, calibrations, probes, species, compatibility, history, house),
        *(events, health),
    ):
        api.include_router(module.router)
    app.include_router(api)
    app.include_router(health.root)
    app.include_router(links.router)
    return app
