"""Makes every fault at length and writes what it cost into docs/reliability.md.

    python -m tests.faults [NAME ...]     only some of them; only their rows are written
    python -m tests.faults --short        in the form that the tests run
    python -m tests.faults broker-unreachable --away-s 3600     a row of its own, for an hour

Takes half an hour, and root for a few of them. Exit code 1 if any reading or alarm came to harm.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.faults.catalogue import FAULTS
from tests.faults.scale import Scale, Skipped
from tests.faults.tally import Tally, kept, table
from tests.support.record import record, recorded

PAGE = Path(__file__).parents[2] / "docs" / "reliability.md"


def main() -> int:
    """Make the faults that are asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(FAULTS))
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--away-s", type=int, help="how long the broker is out of reach")
    given = parser.parse_args()
    unknown = set(given.names) - FAULTS.keys()
    if unknown:
        parser.error(f"no such fault: {', '.join(sorted(unknown))}")
    tallies: list[Tally] = []
    failed = 0
    for name in given.names or FAULTS:
        began = time.monotonic()
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
            try:
                tally = FAULTS[name](Path(folder), Scale(not given.short, given.away_s))
            except Skipped as why:
                print(f"{name}: SKIPPED: {why}", flush=True)
                continue
            except AssertionError as why:
                print(f"{name}: FAILED: {why}", flush=True)
                failed += 1
                continue
        tallies.append(tally)
        verdict = ", ".join(f"{n} {what}" for what, n in tally.harm.items()) or "no harm"
        print(f"{name}: {verdict} ({time.monotonic() - began:.0f} s)", flush=True)
    print(table(tallies))
    if not (given.short or failed):
        record(PAGE, "faults", table(tallies, kept(recorded(PAGE, "faults"))))
    return int(failed > 0 or any(tally.harm for tally in tallies))


if __name__ == "__main__":
    sys.exit(main())
