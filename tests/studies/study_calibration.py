"""How often the stated intervals of a certificate hold the truth, and when a probe is at rest.

    python -m tests.studies.study_calibration [--probes 1000]

prints the tables of docs/calibration.md.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.analysis.calibration import certify, uncertainty_at
from monitor.setup.calibration import Salt, Step
from monitor.setup.models import Correction
from tests.studies.calibrated_probes import SETTINGS, Boxing, Fleet, box, draw_probe

ONE = (Salt.SODIUM_CHLORIDE,)
TWO = (Salt.MAGNESIUM_CHLORIDE, Salt.SODIUM_CHLORIDE)
FOUR = (*TWO, Salt.LITHIUM_CHLORIDE, Salt.POTASSIUM_CHLORIDE)
ASKED = (20.0, 50.0, 80.0, 95.0)


@dataclass(slots=True)
class Tally:
    """What came of many calibrations with the same salts."""

    boxings: list[Boxing] = field(default_factory=list)
    offset: list[bool] = field(default_factory=list)
    gain: list[bool] = field(default_factory=list)
    at: dict[float, list[bool]] = field(default_factory=lambda: {each: [] for each in ASKED})
    u_offset: list[float] = field(default_factory=list)
    u_80: list[float] = field(default_factory=list)
    given_up: int = 0


def calibrate(salts: Sequence[Salt], probes: int, seed: int, fleet: Fleet | None = None) -> Tally:
    """Calibrate so many probes; what was stated is compared with what they are."""
    chance = np.random.default_rng(seed)
    if fleet is None:
        fleet = Fleet(gain=(1.0, 1.0)) if len(salts) == 1 else Fleet()
    tally = Tally()
    for _ in range(probes):
        probe = draw_probe(chance, fleet)
        boxings = [box(chance, fleet, probe, salt) for salt in salts]
        tally.boxings += boxings
        if any(each.rested is None for each in boxings):
            tally.given_up += 1
            continue
        steps = [
            Step(salt=salt, since_ms=0, until_ms=1, rested=each.rested)
            for salt, each in zip(salts, boxings, strict=True)
        ]
        found = certify(steps, Correction(), None, 0, SETTINGS)
        tally.offset.append(abs(found.offset - probe.offset) <= found.u_offset)
        tally.gain.append(abs(found.gain - probe.gain) <= found.u_gain)
        tally.u_offset.append(found.u_offset)
        tally.u_80.append(uncertainty_at(found, 80.0))
        for humidity, held in tally.at.items():
            raw = (humidity - probe.offset) / probe.gain
            wrong = found.gain * raw + found.offset - humidity
            held.append(abs(wrong) <= uncertainty_at(found, humidity))
    return tally


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--probes", type=int, default=1000)
    probes = parser.parse_args().probes
    print("salts | probes | offset | gain | 20 | 50 | 80 | 95 %RH | ± offset | ± at 80 %RH")
    boxings: list[Boxing] = []
    for salts in (ONE, TWO, FOUR):
        tally = calibrate(salts, probes if len(salts) < len(FOUR) else probes // 2, len(salts))
        boxings += tally.boxings
        gain = f"{np.mean(tally.gain):.3f}" if len(salts) > 1 else "-"
        at = " | ".join(f"{np.mean(held):.3f}" for held in tally.at.values())
        print(
            f"{len(salts)} | {len(tally.offset)} | {np.mean(tally.offset):.3f} | {gain} | {at} | "
            f"{np.median(tally.u_offset):.2f} | {np.median(tally.u_80):.2f}"
        )
    hours = [each.hours for each in boxings if each.rested is not None]
    left = np.abs([each.left for each in boxings if each.rested is not None])
    print(f"boxings {len(boxings)}, given up after two days {len(boxings) - len(hours)}")
    print("hours until at rest, 5, 50, 95, 100 %:", np.percentile(hours, [5, 50, 95, 100]))
    print("still to come then, 50, 95, 99, 100 %:", np.percentile(left, [50, 95, 99, 100]).round(2))
    most = SETTINGS.rest_within_pct
    print(f"share with more than {most:g} %RH still to come: {np.mean(left > most):.4f}")


if __name__ == "__main__":
    main()
