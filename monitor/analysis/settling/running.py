"""Findings that must be the same on several days running."""

from collections.abc import Sequence

from monitor.analysis.settling.criteria import Result


def together(results: Sequence[Result], running: int) -> Result:
    """The result that stands, from those of the last days, newest first.

    It passes if it passed on ``running`` days in a row; else it is today's, or unknown.
    """
    if streak(results, Result.PASS) >= running:
        return Result.PASS
    return Result.FAIL if results[0] is Result.FAIL else Result.UNKNOWN


def streak(results: Sequence[Result], result: Result) -> int:
    """On how many of the last days in a row it was this."""
    for number, each in enumerate(results):
        if each is not result:
            return number
    return len(results)
