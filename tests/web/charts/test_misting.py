"""The drawings of the misting page hold the numbers they are made from."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.misting import Goal, Prediction, Span, Spray
from monitor.analysis.misting.prediction import Band
from monitor.web.charts.misting import leftover, misted_day, trade_off

FLAT = Band(np.full(24, 70.0), np.full(24, 60.0), np.full(24, 80.0))
PREDICTED = Prediction(FLAT, FLAT, 0.9, 0.8, 0.05, 0.05, 1.0, 0.5, 4.0, 0.9, 10.0, None)
GOAL = Goal(Span(50.0, 80.0), Span(60.0, 90.0))


def test_a_day_has_its_band_and_its_nights() -> None:
    """Day from 8 to 20, nights around it; the line and the hull lie where the scale puts them."""
    drawn = misted_day(PREDICTED, GOAL, (Spray(dt.time(6), 10.0),), (dt.time(8), dt.time(20)))
    day, before, after = drawn.bands
    assert [day.x, day.width] == pytest.approx([333.33, 500.0])
    assert [before.x, after.x] == pytest.approx([0.0, 833.33])
    assert drawn.drops == (25.0,)
    per_rh = day.height / 30.0
    line = [float(each.split(",")[1]) for each in drawn.line.split()]
    assert line == pytest.approx([day.y + 10.0 * per_rh] * 24, abs=0.05)
    hull = [float(each.split(",")[1]) for each in drawn.hull.split()]
    assert hull[0] == pytest.approx(day.y, abs=0.05)
    assert hull[-1] == pytest.approx(day.y + 20.0 * per_rh, abs=0.05)


def test_lights_over_midnight() -> None:
    """Lamps that burn from 20 to 8 leave the middle of the drawing dark."""
    drawn = misted_day(PREDICTED, GOAL, (), (dt.time(20), dt.time(8)))
    (dark,) = drawn.dark
    assert [dark.x, dark.width] == pytest.approx([333.33, 500.0])


def test_lights_that_never_change() -> None:
    """There is no dark, and one band."""
    drawn = misted_day(PREDICTED, GOAL, (), (dt.time(8), dt.time(8)))
    assert drawn.dark == ()
    assert len(drawn.bands) == 1


def test_the_trade_off_orders_plans() -> None:
    """More seconds lie further right, more in range further up."""
    drawn = trade_off([(20.0, 0.82), (40.0, 0.9)])
    few, many = drawn.offers
    assert few.x < many.x
    assert few.y > many.y
    assert min(few.x, many.y) > 10.0


def test_leftovers_are_counted_and_cut_off() -> None:
    """Two of four within two deviations; what is beyond four is drawn there; gaps are left out."""
    value = np.array([0.0, 1.0, -3.0, 9.0, np.nan])
    drawn = leftover(np.arange(5), value, 0, 4)
    assert (drawn.within, drawn.count) == (0.5, 4)
    assert drawn.dots.count("M") == 4
    assert "M750,0h0" in drawn.dots


def test_another_course_is_another_drawing() -> None:
    """Nothing is drawn that does not come from the prediction."""
    other = replace(PREDICTED, humidity=replace(FLAT, middle=np.full(24, 65.0)))
    lights = (dt.time(8), dt.time(20))
    assert misted_day(other, GOAL, (), lights).line != misted_day(PREDICTED, GOAL, (), lights).line
