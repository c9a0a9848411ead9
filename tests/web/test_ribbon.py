"""The ribbon of the last day: true to the readings, to the enclosure's clock, and in words."""

import datetime as dt
from collections.abc import Callable
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.setup.daylight import Daylight
from monitor.setup.journal import Misted
from monitor.setup.models import Spans, ZoneRange
from monitor.store.readings import Buckets
from monitor.times import HOUR_MS, MINUTE_MS, parse_rfc3339
from monitor.web.ribbon import WINDOW_MS, Ribbon, ribbon

NOON_MS = parse_rfc3339("2026-11-25T12:00:00Z")
LAMP = Daylight(dt.time(8), dt.time(20), ZoneInfo("Europe/Lisbon"))
WANTED = ZoneRange(
    day=Spans.model_validate({"humidity": [50, 80]}),
    night=Spans.model_validate({"humidity": [70, 90]}),
)
STEP_S = 900


def quarters(value: Callable[[float], float], now_ms: int = NOON_MS) -> Buckets:
    """A value each quarter of an hour, as a function of the hours before now."""
    at_ms = np.arange(now_ms - WINDOW_MS, now_ms, 1000 * STEP_S, dtype=np.int64)
    mean = np.array([value((now_ms - at) / HOUR_MS) for at in at_ms.tolist()])
    return Buckets(STEP_S, at_ms, mean, mean - 1, mean + 1, np.ones(len(at_ms), np.int64))


def drawn(
    buckets: Buckets,
    *mistings: Misted,
    now_ms: int = NOON_MS,
    lamp: Daylight = LAMP,
    wanted: ZoneRange | None = WANTED,
) -> Ribbon:
    """The canopy's ribbon."""
    shown = ribbon("canopy", buckets, 60.0, mistings, wanted, lamp, now_ms)
    assert shown is not None
    return shown


def test_night_and_band_lie_where_the_lamp_timer_says() -> None:
    """Lights off 20:00 to 08:00 of a window from noon to noon: a third to five sixths of it."""
    shown = drawn(quarters(lambda _: 75.0))
    (night,) = shown.nights
    assert (night.x, night.width) == (333.33, 500.0)
    assert [round(band.x) for band in shown.bands] == [0, 333, 833]
    assert [(mark.says) for mark in shown.limits] == ["80 %", "50 %"]
    assert shown.strayed == ()


def test_heights_are_to_scale() -> None:
    """The line runs between its band's limits at the right share of the height."""
    shown = drawn(quarters(lambda _: 65.0))
    day = shown.bands[0]
    heights = {float(point.split(",")[1]) for point in shown.lines[0].split()}
    assert heights == {round(day.y + day.height / 2, 1)}


def test_what_strays_is_marked_between_line_and_limit() -> None:
    """Two hours at 60 % in a night that wants 70: eight patches, from the limit to the line."""
    shown = drawn(quarters(lambda ago: 60.0 if 6 < ago <= 8 else 75.0))
    night_band = shown.bands[1]
    limit_y = night_band.y + night_band.height
    assert len(shown.strayed) == 8
    assert {patch.y for patch in shown.strayed} == {limit_y}
    assert shown.says == (
        "Canopy humidity last night: 59 to 76 %, driest around 04:00; outside its range for "
        "about 2 h."
    )


def test_a_gap_in_the_readings_is_a_gap_in_the_line() -> None:
    """Nothing is drawn through hours of silence."""
    whole = quarters(lambda _: 75.0)
    heard = (whole.at_ms < NOON_MS - 9 * HOUR_MS) | (whole.at_ms > NOON_MS - 5 * HOUR_MS)
    parts = Buckets(
        STEP_S,
        whole.at_ms[heard],
        whole.mean[heard],
        whole.low[heard],
        whole.high[heard],
        whole.count[heard],
    )
    assert len(drawn(whole).lines) == 1
    assert len(drawn(parts).lines) == 2


def test_raw_readings_far_apart_still_make_a_line() -> None:
    """A probe that reports every half hour is given raw: its line is not cut to dots."""
    at_ms = np.arange(NOON_MS - WINDOW_MS, NOON_MS, 30 * MINUTE_MS, dtype=np.int64)
    value = np.full(len(at_ms), 75.0)
    raw = Buckets(0, at_ms, value, value, value, np.ones(len(at_ms), np.int64))
    shown = ribbon("canopy", raw, 1800.0, (), WANTED, LAMP, NOON_MS)
    assert shown is not None
    assert len(shown.lines) == 1


def test_the_worst_is_told_on_the_side_that_is_near() -> None:
    """Closer to its upper limit, the dampest hour is told; the night under way is called so."""
    now_ms = NOON_MS + 11 * HOUR_MS
    shown = drawn(quarters(lambda ago: 88.0 if ago <= 1 else 85.0, now_ms), now_ms=now_ms)
    assert shown.says == "Canopy humidity tonight so far: 84 to 89 %, dampest around 22:00."


def test_without_a_night_the_whole_day_is_told() -> None:
    """A lamp that is never switched leaves no night to speak of."""
    always = Daylight(dt.time(0), dt.time(0), ZoneInfo("UTC"))
    shown = drawn(quarters(lambda _: 65.0), lamp=always)
    assert shown.nights == ()
    assert shown.says.startswith("Canopy humidity in the last 24 hours: 64 to 66 %")


def test_mistings_are_drops_in_place_and_in_words() -> None:
    """Those of the window only, with their seconds where these are known."""
    mistings = [
        Misted(at=NOON_MS - hours * HOUR_MS, kind="misted", seconds=seconds)
        for hours, seconds in ((6, 8.0), (12, None), (25, 5.0))
    ]
    shown = drawn(quarters(lambda _: 75.0), *mistings)
    assert [drop.at for drop in shown.drops] == [50.0, 75.0]
    assert shown.drops_say == "Misted at 00:00; 06:00 for 8 s."


def test_hours_are_those_of_the_enclosure_across_a_clock_change() -> None:
    """On 25 October 2026 Lisbon's clock goes back at 02:00 UTC: labels stay whole local hours."""
    now_ms = parse_rfc3339("2026-10-25T12:00:00Z")
    shown = drawn(quarters(lambda _: 75.0, now_ms), now_ms=now_ms)
    assert [tick.says for tick in shown.ticks] == [
        "16:00",
        "20:00",
        "00:00",
        "04:00",
        "08:00",
        "12:00",
    ]
    # From 00:00 (UTC+1) to 04:00 (UTC+0) five hours pass.
    assert shown.ticks[3].at - shown.ticks[2].at == pytest.approx(100 * 5 / 24, abs=0.02)


def test_no_readings_no_ribbon() -> None:
    """Nothing to draw is None."""
    nothing = quarters(lambda _: 75.0, NOON_MS - 3 * WINDOW_MS)
    assert ribbon("canopy", nothing, 60.0, (), WANTED, LAMP, NOON_MS) is None
