"""Topic templates: what to subscribe to, and which probe a message came from.

A template such as ``dewkeep/{enclosure}/{probe}`` is checked where it is written
(``setup.sources``); here it is put to use.
"""

from typing import NamedTuple

from monitor.quantities import MEASURED, Quantity
from monitor.setup.sources import Level, Source, level_named


class Address(NamedTuple):
    """What a topic says of a message: where it belongs, and its quantity if a level names it.

    ``place`` is the id of an enclosure or of a room; both ids are empty where the topic names a
    device. Whether such a probe or device is set up is not known here.
    """

    place: str = ""
    probe: str = ""
    quantity: Quantity | None = None
    device: str = ""


class Template:
    """A source's topic, made ready to match: a pure function of the topic, so cache its answers."""

    def __init__(self, source: Source) -> None:
        self._parts = [(part, level_named(part)) for part in source.topic.split("/")]

    @property
    def filter(self) -> str:
        """The MQTT topic filter to subscribe to; named levels become ``+``."""
        return "/".join(part if level is None else "+" for part, level in self._parts)

    def match(self, topic: str) -> Address | None:
        """Where a message on ``topic`` belongs; None if it is not one of this source's.

        A quantity that is not measured here and an empty level are not its own either, nor are the
        broker's topics, which begin with ``$``.
        """
        parts = topic.split("/")
        if len(parts) != len(self._parts) or topic.startswith("$"):
            return None
        named: dict[Level, str] = {}
        for part, (literal, level) in zip(parts, self._parts, strict=True):
            if level is not None:
                named[level] = part
            elif part != literal:
                return None
        if not all(named.values()):
            return None
        quantity = None
        if Level.QUANTITY in named:
            if named[Level.QUANTITY] not in MEASURED:
                return None
            quantity = Quantity(named[Level.QUANTITY])
        if Level.DEVICE in named:
            return Address(quantity=quantity, device=named[Level.DEVICE])
        return Address(named[Level.ENCLOSURE], named[Level.PROBE], quantity)
