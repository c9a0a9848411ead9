"""Why humidity crossed its limit, from physics and from what is usual; docs/causes.md."""

from monitor.analysis.causes.evidence import Cause, CauseKind, Evidence, Figure, Side
from monitor.analysis.causes.explain import explain
from monitor.analysis.courses import History

__all__ = ["Cause", "CauseKind", "Evidence", "Figure", "History", "Side", "explain"]
