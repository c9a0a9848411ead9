"""The physics of moist air: pure functions over numpy arrays that import nothing of the project.

Temperatures are in Cel, relative humidities in %RH (0 to 100, over liquid water), pressures in kPa,
contents in g/m3 and g/kg. Scalars give a ``float``, arrays broadcast and give arrays. Formulas hold
for -40 to 60 Cel; outside, results are unspecified, and nothing raises or warns. Air is an ideal
mixture: no enhancement factor. docs/nomenclature.md has every symbol and source, docs/validation.md
what each was checked against.
"""

from monitor.air.content import (
    STANDARD_PRESSURE,
    absolute_humidity,
    mixing_ratio,
    relative_humidity_from_absolute_humidity,
    relative_humidity_from_mixing_ratio,
)
from monitor.air.derived import Derived, derive
from monitor.air.dew import (
    condensation,
    dew_point,
    frost_point,
    relative_humidity_from_dew_point,
)
from monitor.air.elementwise import Floats, Values
from monitor.air.evaporation import wet_bulb
from monitor.air.moisture import (
    leaf_vapour_pressure_deficit,
    relative_humidity,
    vapour_pressure,
    vapour_pressure_deficit,
)
from monitor.air.saturation import (
    dew_point_from_vapour_pressure,
    frost_point_from_vapour_pressure,
    saturation_slope,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
)
from monitor.air.uncertainty import (
    dew_point_uncertainty,
    standard_uncertainty,
    vapour_pressure_deficit_uncertainty,
)

__all__ = [
    "STANDARD_PRESSURE",
    "Derived",
    "Floats",
    "Values",
    "absolute_humidity",
    "condensation",
    "derive",
    "dew_point",
    "dew_point_from_vapour_pressure",
    "dew_point_uncertainty",
    "frost_point",
    "frost_point_from_vapour_pressure",
    "leaf_vapour_pressure_deficit",
    "mixing_ratio",
    "relative_humidity",
    "relative_humidity_from_absolute_humidity",
    "relative_humidity_from_dew_point",
    "relative_humidity_from_mixing_ratio",
    "saturation_slope",
    "saturation_vapour_pressure",
    "saturation_vapour_pressure_over_ice",
    "standard_uncertainty",
    "vapour_pressure",
    "vapour_pressure_deficit",
    "vapour_pressure_deficit_uncertainty",
    "wet_bulb",
]
