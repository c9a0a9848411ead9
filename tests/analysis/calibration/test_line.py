"""Offset and gain: worked by hand, against scipy, and as sure as they say."""

import numpy as np
import pytest
from scipy.optimize import minimize

from monitor.air.uncertainty import standard_uncertainty
from monitor.analysis.calibration.line import GAIN_LIMIT, Floats, Line, Measured, fit

MGCL2 = Measured(33.07, (0.4,), 35.2, 0.05)
NACL = Measured(75.47, (0.4,), 73.9, 0.05)


def corrected(line: Line, raw: float) -> float:
    """A reading put right."""
    return line.gain * raw + line.offset


def test_two_points_worked_by_hand() -> None:
    """20 Cel, MgCl2 33.07 read as 35.2, NaCl 75.47 read as 73.9.

    gain (75.47 - 33.07) / (73.9 - 35.2) = 42.4 / 38.7 = 1.0956072,
    offset 33.07 - 1.0956072 x 35.2 = -5.4953747.
    """
    line = fit([MGCL2, NACL])

    assert line.gain == pytest.approx(1.0956072, abs=5e-8)
    assert line.offset == pytest.approx(-5.4953747, abs=5e-7)
    assert line.residuals == pytest.approx((0.0, 0.0), abs=1e-9)
    for raw, truth in ((20, 16.417), (50, 49.285), (60, 60.241), (85, 87.631), (95, 98.587)):
        assert corrected(line, raw) == pytest.approx(truth, abs=5e-4)


def test_two_points_and_their_uncertainty_worked_by_hand() -> None:
    """Two flat limits of 0.4, nothing else.

    The gain errs by (e2 - e1) / 38.7, a triangle of half width 0.8 / 38.7, of which 95 % lie within
    1 - sqrt(0.05) = 0.77639 of that: 0.016049. Midway between the points the humidity errs by
    (e1 + e2) / 2: 0.77639 x 0.4 = 0.31056. At either point by its own error: 0.95 x 0.4 = 0.38.
    """
    line = fit([MGCL2._replace(u_reading=0.0), NACL._replace(u_reading=0.0)])

    assert line.u_gain == pytest.approx(0.016049, rel=0.02)
    assert line.uncertainty((35.2 + 73.9) / 2) == pytest.approx(0.31056, rel=0.02)
    assert line.uncertainty(35.2) == pytest.approx(0.38, rel=0.02)
    assert line.uncertainty(73.9) == pytest.approx(0.38, rel=0.02)
    assert line.u_offset == pytest.approx(line.uncertainty(0.0))


def test_noise_alone_gives_the_normal_interval() -> None:
    """A standard uncertainty of 0.1 of one reading is ±0.196 of the offset."""
    line = fit([Measured(75.0, (), 74.0, 0.1)])

    assert (line.gain, line.offset, line.u_gain) == (1.0, 1.0, 0.0)
    assert line.u_offset == pytest.approx(0.196, rel=0.02)


def test_one_point_is_less_sure_elsewhere() -> None:
    """What the gain may be off turns the line about the point."""
    line = fit([NACL])

    assert line.uncertainty(73.9) < 0.45
    assert line.uncertainty(33.9) == pytest.approx(
        np.hypot(line.uncertainty(73.9), 40 * GAIN_LIMIT), rel=1e-6
    )


def test_more_points_against_scipy() -> None:
    """The sum of squares with errors in both directions has its minimum at the same line."""
    points = [
        Measured(11.31, (0.6, 0.05), 14.9, 0.1),
        MGCL2,
        NACL,
        Measured(85.11, (0.6, 0.5), 82.4, 0.2),
    ]

    def misfit(line: Floats) -> float:
        gain, offset = line.tolist()
        total: float = sum(
            (gain * p.reading + offset - p.reference) ** 2
            / (
                sum(standard_uncertainty(each) ** 2 for each in p.limits)
                + (gain * p.u_reading) ** 2
            )
            for p in points
        )
        return total

    found = minimize(misfit, [1.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9}).x
    line = fit(points)

    assert line.gain == pytest.approx(found[0], abs=5e-4)
    assert line.offset == pytest.approx(found[1], abs=0.03)


def test_points_off_the_line_widen_everything() -> None:
    """A salt that was spoiled does not go unnoticed."""
    good = [MGCL2, NACL, Measured(85.11, (0.6,), 82.70, 0.05)]
    spoiled = [*good[:2], good[2]._replace(reading=79.0)]

    assert fit(spoiled).u_gain > 2 * fit(good).u_gain
    assert max(map(abs, fit(spoiled).residuals)) > 1.0


@pytest.mark.parametrize(
    ("points", "says"),
    [([], "no point"), ([MGCL2, NACL._replace(reading=35.2)], "all points read 35.2 %RH")],
)
def test_what_makes_no_line(points: list[Measured], says: str) -> None:
    """A probe that reads the same everywhere is told."""
    with pytest.raises(ValueError, match=says):
        fit(points)


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 2, 3])
def test_intervals_hold_what_they_say(count: int) -> None:
    """Of 2,000 simulated calibrations 95 ± 2 % hold the true offset, gain, and humidity between."""
    chance = np.random.default_rng(95)
    references = (33.07, 75.47, 85.11)[-count:] if count != 2 else (33.07, 75.47)
    limits = ((0.4, 0.2), (0.4, 0.46), (0.6, 0.5))
    runs = 2_000
    held = np.zeros((runs, 3))
    for run in range(runs):
        gain = chance.uniform(0.9, 1.1) if count > 1 else 1.0
        offset = chance.uniform(-5, 5)
        points = []
        for reference, limit in zip(references, limits, strict=False):
            truth = reference + sum(each * chance.uniform(-1, 1) for each in limit)
            u = chance.uniform(0.03, 0.2)
            reading = (truth - offset) / gain + u * chance.standard_normal()
            points.append(Measured(reference, limit, reading, u))
        line = fit(points)
        raw = (float(np.mean(references)) - offset) / gain
        held[run] = (
            abs(line.offset - offset) <= line.u_offset,
            abs(line.gain - gain) <= line.u_gain,
            abs(corrected(line, raw) - (gain * raw + offset)) <= line.uncertainty(raw),
        )

    shares = held.mean(axis=0)
    assert shares[0] == pytest.approx(0.95, abs=0.02)
    assert shares[2] == pytest.approx(0.95, abs=0.02)
    if count > 1:
        assert shares[1] == pytest.approx(0.95, abs=0.02)
