"""Is the battery of a probe running low?"""

from monitor.analysis.trust.model import Advice, Check, Confidence, Past

LOW_PCT = 20.0
"""Charge left at which it is time (common practice, no source)."""


def running_low(past: Past) -> Advice | None:
    """Whether the last charge it reported is low; nothing for a probe that reports none."""
    if past.battery is None or past.battery > LOW_PCT:
        return None
    return Advice(
        Check.BATTERY,
        Confidence.CERTAIN,
        {"charge_pct": past.battery},
        f"Its battery has {past.battery:.0f} % left.",
        "Change or charge it before it falls silent.",
    )
