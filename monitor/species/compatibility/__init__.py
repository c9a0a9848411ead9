"""Who fits whom: conflicts, risks, what else would fit, and whether the climate can hold in air."""

from monitor.species.compatibility.aims import aims
from monitor.species.compatibility.alternatives import Candidate, candidates
from monitor.species.compatibility.assessment import Compatibility, Verdict, compatibility
from monitor.species.compatibility.region import Outline, Region
from monitor.species.compatibility.risks import Risk, What, risks
from monitor.species.compatibility.water import Apart, Cooling, Evening, Water, cooling, water
from monitor.species.compatibility.wire import wire

__all__ = [
    "Apart",
    "Candidate",
    "Compatibility",
    "Cooling",
    "Evening",
    "Outline",
    "Region",
    "Risk",
    "Verdict",
    "Water",
    "What",
    "aims",
    "candidates",
    "compatibility",
    "cooling",
    "risks",
    "water",
    "wire",
]
