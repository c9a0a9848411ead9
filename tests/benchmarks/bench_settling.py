"""How long a year of one enclosure takes to assess, reading it from the store apart.

python -m tests.benchmarks.bench_settling
"""

import time

from monitor.analysis.settling import assess
from monitor.species.ranges import Zone
from tests.analysis.settling.plain import bloom, build, probe

DAYS = 365
ZONES = (Zone.CANOPY, Zone.FLOOR, Zone.SUBSTRATE)


def main() -> None:
    """Measure and print."""
    for period_s in (30.0, 300.0):
        probes = [
            probe(DAYS, zone=zone, id_=zone.value, period_s=period_s, seed=number)
            for number, zone in enumerate(ZONES)
        ]
        year = build(DAYS, probes, bloom(DAYS))
        readings = sum(len(each.humidity.at_ms) for each in probes)
        taken = []
        for _ in range(3):
            begun = time.perf_counter()
            assess(year)
            taken.append(time.perf_counter() - begun)
        print(
            f"{DAYS} days, {len(ZONES)} probes every {period_s:g} s ({2 * readings:,} values): "
            f"{min(taken):.2f} s"
        )


if __name__ == "__main__":
    main()
