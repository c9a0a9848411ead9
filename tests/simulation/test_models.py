"""Scenarios that do not hang together are refused when they are written."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.simulation import EnclosureModel, HeatMat, ProbeModel, Scenario, ZoneModel

BOX = EnclosureModel(id="box", zones=(ZoneModel("floor"), ZoneModel("substrate")))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"zones": (ZoneModel("floor"), ZoneModel("floor"))}, "name one place twice"),
        ({"zones": (ZoneModel("substrate"),)}, "at least one in the air"),
        ({"zones": ()}, "at least one in the air"),
        ({"mat": HeatMat("warm", 26.0)}, "mat.zone 'warm' must be one of"),
    ],
)
def test_an_enclosure_must_have_the_places_it_names(change: dict[str, Any], says: str) -> None:
    """Zones are told apart, one holds air, and the mat's feeler lies in one of them."""
    with pytest.raises(ValueError, match=says):
        replace(BOX, **change)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"enclosures": (BOX, BOX)}, "different ids"),
        ({"room_id": "box"}, "different ids"),
        ({"probes": (ProbeModel("box", "a", "canopy"),)}, "box/a: no zone 'canopy' there"),
        ({"probes": (ProbeModel("shelf", "a", "floor"),)}, "shelf/a: no zone 'floor' there"),
        ({"probes": (ProbeModel("box", "a", "floor"),) * 2}, "needs its own id"),
    ],
)
def test_a_scenario_must_hang_together(change: dict[str, Any], says: str) -> None:
    """Ids differ and every probe hangs in a zone that is there."""
    with pytest.raises(ValueError, match=says):
        replace(Scenario((BOX,)), **change)
