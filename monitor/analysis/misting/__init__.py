"""A misting schedule out of the log: mistings, drying rate, prediction, plan, and what came of it.

:func:`assess` does it all; docs/misting.md tells how, and how well.
"""

from monitor.analysis.misting.assessment import Assessment, Asymptote, Residuals, assess, find
from monitor.analysis.misting.backtest import Backtest
from monitor.analysis.misting.climate import Climate
from monitor.analysis.misting.detection import Rise, Seen
from monitor.analysis.misting.detection import seen as seen_in_air
from monitor.analysis.misting.doubts import Doubt, Sign
from monitor.analysis.misting.drift import Changed, Drift
from monitor.analysis.misting.fit import Rate
from monitor.analysis.misting.followup import Change, FollowUp, Taken, follow_up
from monitor.analysis.misting.futures import Futures, Model
from monitor.analysis.misting.mistings import Misting, Reported, Source
from monitor.analysis.misting.plan import Plan, Proposal, plan
from monitor.analysis.misting.prediction import Band, Prediction, predict
from monitor.analysis.misting.schedule import Goal, Limits, Schedule, Span, Spray
from monitor.analysis.misting.water import Water

__all__ = [
    "Assessment",
    "Asymptote",
    "Backtest",
    "Band",
    "Change",
    "Changed",
    "Climate",
    "Doubt",
    "Drift",
    "FollowUp",
    "Futures",
    "Goal",
    "Limits",
    "Misting",
    "Model",
    "Plan",
    "Prediction",
    "Proposal",
    "Rate",
    "Reported",
    "Residuals",
    "Rise",
    "Schedule",
    "Seen",
    "Sign",
    "Source",
    "Span",
    "Spray",
    "Taken",
    "Water",
    "assess",
    "find",
    "follow_up",
    "plan",
    "predict",
    "seen_in_air",
]
