"""Is a probe right? Saturated salts as reference, rest in the salt box, and the correction found.

Pure: readings and times go in. docs/calibration.md explains the method and its limits.
"""

from monitor.analysis.calibration.certificate import GRID, certify, uncertainty_at
from monitor.analysis.calibration.line import Line, Measured, fit
from monitor.analysis.calibration.rest import Boxed, Rest, judge_rest
from monitor.analysis.calibration.salts import FixedPoint, fixed_point

__all__ = [
    "GRID",
    "Boxed",
    "FixedPoint",
    "Line",
    "Measured",
    "Rest",
    "certify",
    "fit",
    "fixed_point",
    "judge_rest",
    "uncertainty_at",
]
