"""The sentences about a house that several daemons watch: the same in the API and on the page."""

from collections.abc import Sequence

SILENT_SINCE = "{} does not answer since {}: {}."
NEVER_ANSWERED = "{} has not answered since {} started at {}: {}."
NOT_ASKED_YET = "it has only just been asked"

NOBODY_SINCE = "Nobody answers for it since {}: {}."
NOBODY_YET = "Nobody has answered for it since {} started at {}: {}."
NOT_SET_UP_THERE = (
    "Nobody watches it: by its settings it is for {}, whose set-up does not have it. "
    "Apply the same set-up file there."
)
NOBODYS = "Nobody watches it: it is for none of these daemons. Compare [share] in their settings."
CLAIMED = (
    "{} each say that it is theirs. Every enclosure has one owner: compare [share] in their "
    "settings."
)
NOT_KNOWN_HERE = "The set-up of {} does not have it; apply the same set-up file to all daemons."

MOST_NAMES = 4
"""How many places or daemons a headline names."""


def listed(things: Sequence[str]) -> str:
    """Things in a sentence, the first few by name and the rest by number."""
    named = list(things)
    if len(named) > MOST_NAMES:
        named = [*named[: MOST_NAMES - 1], f"{len(named) - MOST_NAMES + 1} more"]
    *most, last = named
    return f"{', '.join(most)} and {last}" if most else last


def silence(names: Sequence[str]) -> str:
    """That daemons do not answer."""
    return f"{listed(names)} {'does' if len(names) == 1 else 'do'} not answer"


def headline(
    enclosures: int,
    *,
    silent: Sequence[str],
    unwatched: Sequence[str],
    claimed: Sequence[str],
    calling: Sequence[str],
    back: Sequence[str],
    seen: Sequence[str],
) -> str:
    """The first sentence about a house; it says that all is well only if all have said so.

    Args:
        enclosures: how many there are.
        silent: names of daemons that do not answer.
        unwatched: names of places that nobody answers for.
        claimed: names of places that several daemons claim.
        calling: names of places with an alarm that nobody has seen.
        back: names of places whose alarm ended before anybody saw it.
        seen: names of places whose alarm stands and was seen or set aside.
    """
    told = []
    if unwatched:
        told.append(f"nobody answers for {listed(unwatched)}")
    elif silent:
        told.append(silence(silent))
    if claimed:
        told.append(f"several daemons claim {listed(claimed)}")
    if calling:
        told.append(f"{listed(calling)} {'needs' if len(calling) == 1 else 'need'} a hand")
    if back:
        verb = "is well again" if len(back) == 1 else "are well again"
        told.append(f"{listed(back)} {verb}; see what happened")
    if not told:
        known = f"nothing new. You know about {listed(seen)}" if seen else "none needs a hand"
        told.append(known)
    count = "1 enclosure" if enclosures == 1 else f"{enclosures} enclosures"
    return f"{count}: {'; '.join(told)}."
