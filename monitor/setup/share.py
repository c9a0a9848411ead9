"""Which enclosures a daemon watches when several share a broker and an engine."""

import re
import zlib
from typing import Annotated, Self

from pydantic import AfterValidator, model_validator

from monitor.documents.base import Identifier, Model
from monitor.documents.problems import faults

PART = re.compile(r"(\d{1,4})/(\d{1,4})\Z")


def _part(text: str) -> str:
    match = PART.match(text)
    if match is None or not 1 <= int(match[1]) <= int(match[2]):
        raise ValueError('write which part of how many: "2/4" is the second of four')
    return f"{int(match[1])}/{int(match[2])}"


class ShareSettings(Model):
    """What this daemon watches of a house that several watch; without keys: everything."""

    enclosures: tuple[Identifier, ...] = ()
    """Ids of the enclosures and rooms that are its own."""
    part: Annotated[str, AfterValidator(_part)] | None = None
    """Or a part of all by their ids: `"2/4"` is the second of four."""

    @model_validator(mode="after")
    def _one_way_only(self) -> Self:
        if self.enclosures and self.part is not None:
            raise faults([(("part",), "does not go with share.enclosures; use one of them")])
        return self

    def has(self, place: str) -> bool:
        """Whether a room or enclosure is its own."""
        if self.part is not None:
            number, of = map(int, self.part.split("/"))
            # CRC-32 for its being the same on every machine, in every version.
            return zlib.crc32(place.encode()) % of == number - 1
        return not self.enclosures or place in self.enclosures

    def meets(self, other: "ShareSettings") -> bool:
        """Whether something may belong to both.

        Parts of different numbers always meet: all daemons have to agree on how many there are.
        """
        if self.enclosures:
            return any(other.has(place) for place in self.enclosures)
        if other.enclosures:
            return other.meets(self)
        if self.part is None or other.part is None:
            return True
        number, of = self.part.split("/")
        others_number, others_of = other.part.split("/")
        return of != others_of or number == others_number

    def __str__(self) -> str:
        if self.part is not None:
            return f"part {self.part}"
        return ", ".join(self.enclosures) or "everything"
