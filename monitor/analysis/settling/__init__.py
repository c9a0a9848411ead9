"""Has a new build settled? The verdict, its criteria, and what holds it up.

``assess`` takes a ``Build`` and gives a ``Settling``. docs/settling.md has every criterion with its
formula, source, default and limits. The verdict never replaces looking at the animal.
"""

from monitor.analysis.settling.assessment import assess
from monitor.analysis.settling.build import Build, ProbeRecord, Samples
from monitor.analysis.settling.criteria import Aside, Criterion, Name, Result, Settling, Verdict

__all__ = [
    "Aside",
    "Build",
    "Criterion",
    "Name",
    "ProbeRecord",
    "Result",
    "Samples",
    "Settling",
    "Verdict",
    "assess",
]
