"""What a fault cost: readings and alarms, lost or doubled."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field


@dataclass(slots=True)
class Tally:
    """The account of one fault.

    ``by_others`` are those of the lost that are proven never to have reached dewkeep.
    ``told_twice`` counts alarms told under two keys, so that a receiver cannot know them for one;
    ``repeats`` those sent again under the same key, as delivery at least once may do.
    """

    fault: str
    readings: int = 0
    lost: int = 0
    by_others: int = 0
    doubled: int = 0
    alarms: int = 0
    missed: int = 0
    raised_twice: int = 0
    untold: int = 0
    told_twice: int = 0
    repeats: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def harm(self) -> dict[str, int]:
        """Whatever is not zero and should be."""
        counts = {
            "readings lost": self.lost - self.by_others,
            "readings doubled": self.doubled,
            "alarms missed": self.missed,
            "alarms raised twice": self.raised_twice,
            "alarms not told": self.untold,
            "alarms told twice": self.told_twice,
        }
        return {what: count for what, count in counts.items() if count}


HEAD = (
    "| fault | readings | lost | doubled | alarms | missed | raised twice | not told | told twice "
    "| sent again under the same key | what was seen |\n"
    "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---|\n"
)


def table(tallies: Iterable[Tally], before: Mapping[str, str] | None = None) -> str:
    """The accounts as a table in Markdown; each takes the place of its row of ``before``."""
    rows = dict(before or {}) | {
        t.fault: f"| {t.fault} | {t.readings:,} | {t.lost} | {t.doubled} | {t.alarms} | {t.missed} "
        f"| {t.raised_twice} | {t.untold} | {t.told_twice} | {t.repeats} | {'; '.join(t.notes)} |"
        for t in tallies
    }
    return HEAD + "\n".join(rows.values()) + "\n"


def kept(text: str) -> dict[str, str]:
    """The rows of a table as it was written, by fault."""
    return {line.split(" | ")[0][2:]: line for line in text.splitlines()[2:]}
