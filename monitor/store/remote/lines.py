"""Readings as InfluxDB line protocol, which VictoriaMetrics takes too.

One line a reading: tags say whose, a field holds the value. A bad reading goes into a field of its
own, so that the server's means and extremes never meet one; the reason is written unless it is OK.

    dewkeep,place=cork-cube,probe=canopy,quantity=humidity value=71.5,reason=1i 1788220800000
"""

import re
from collections.abc import Mapping

from monitor.errors import StoreError
from monitor.quality import FIRST_BAD
from monitor.store.readings import Readings, SeriesKey

PLAIN = re.compile(r"[A-Za-z0-9_.-]+\Z")


def check(key: SeriesKey) -> None:
    """Refuse a name that lines or queries would have to escape; ids of a set-up never need it.

    Raises:
        StoreError: the name has other characters.
    """
    for name in (key.place, key.probe):
        if not PLAIN.match(name):
            raise StoreError(f"{name!r}: only letters, digits, - _ and . can be stored here")


def tags(measurement: str, key: SeriesKey) -> str:
    """The part of a line that says whose the reading is."""
    return f"{measurement},place={key.place},probe={key.probe},quantity={key.quantity} "


def encode(readings: Readings, heads: Mapping[int, str]) -> bytes:
    """Readings as lines; ``heads`` has the ``tags`` of every series id among them."""
    lines = []
    for series, at_ms, value, reason in zip(
        readings.series.tolist(),
        readings.at_ms.tolist(),
        readings.value.tolist(),
        readings.reason.tolist(),
        strict=True,
    ):
        if not reason:
            lines.append(f"{heads[series]}value={value!r} {at_ms}")
        elif reason < FIRST_BAD:
            lines.append(f"{heads[series]}value={value!r},reason={reason}i {at_ms}")
        else:
            lines.append(f"{heads[series]}bad={value!r},reason={reason}i {at_ms}")
    return "\n".join(lines).encode()
