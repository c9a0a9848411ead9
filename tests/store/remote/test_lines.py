"""Readings as line protocol."""

from typing import Any, cast

import numpy as np
import pytest
from influxdb_client.client.write.point import Point

from monitor.errors import StoreError
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.store.readings import Readings, SeriesKey
from monitor.store.remote import lines

KEY = SeriesKey("cork-cube", "canopy", Quantity.HUMIDITY)


@pytest.mark.parametrize(
    ("value", "reason", "fields"),
    [
        (71.5, Reason.OK, {"value": 71.5}),
        (70.0, Reason.STEP, {"value": 70.0, "reason": 1}),
        (-300.25, Reason.LIMIT, {"bad": -300.25, "reason": 16}),
        (1e-7, Reason.OK, {"value": 1e-7}),
        (20.0, Reason.OK, {"value": 20.0}),
    ],
)
def test_a_line_says_what_the_client_would_say(
    value: float, reason: Reason, fields: dict[str, float]
) -> None:
    """Same tags, time and fields as the line that influxdb-client makes of a point.

    A value is always a float there (20.0, never 20), whatever its digits: a field keeps the type it
    had first.
    """
    # The client has no types.
    point: Any = cast("Any", Point)("dewkeep").time(1_788_220_800_000, "ms")
    for tag, text in zip(("place", "probe", "quantity"), KEY, strict=True):
        point.tag(tag, text)
    for name, content in fields.items():
        point.field(name, content)
    readings = Readings(
        np.array([7]), np.array([1_788_220_800_000]), np.array([value]), np.array([reason])
    )

    line = lines.encode(readings, {7: lines.tags("dewkeep", KEY)}).decode()

    assert parsed(line) == parsed(point.to_line_protocol())
    assert not any(f"{name}={number}i" in line for name in ("value", "bad") for number in (20, 70))


def parsed(line: str) -> tuple[str, dict[str, float], str]:
    """Tags, fields and time of a line."""
    tags, fields, time = line.split(" ")
    pairs = (field.split("=") for field in fields.split(","))
    return tags, {name: float(text.removesuffix("i")) for name, text in pairs}, time


@pytest.mark.parametrize("name", ["a b", "a,b", "a=b", "a\\", "a'b", 'a"b', "a\nb", "", "ä"])
def test_a_name_that_would_need_escaping_is_refused(name: str) -> None:
    """It cannot break out of a line or a query; ids of a set-up never look like that."""
    with pytest.raises(StoreError, match="only letters, digits"):
        lines.check(KEY._replace(place=name))
