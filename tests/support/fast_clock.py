"""`dewkeep serve` with a wall clock that runs faster than the world's.

python -m tests.support.fast_clock SPEED serve --config FILE
"""

import os
import sys
import time
from functools import partial
from pathlib import Path

from monitor.cli.logs import log_to_stderr
from monitor.daemon import daemon
from monitor.ingest import loop
from monitor.setup.settings import load_settings


def fast_clock(began_ms: int, speed: float) -> int:
    """Epoch milliseconds by a clock that was right when it began."""
    now_ms = time.time_ns() // 1_000_000
    return began_ms + round(speed * (now_ms - began_ms))


def serve(config: Path, speed: float) -> None:
    """Until a signal comes."""
    log_to_stderr()
    # Each turn is minutes long by this clock: none of it is a jump.
    loop.JUMP_MS = 10**12
    daemon.run(
        load_settings(config, os.environ),
        partial(print, flush=True),
        partial(fast_clock, time.time_ns() // 1_000_000, speed),
    )


if __name__ == "__main__":
    serve(Path(sys.argv[-1]), float(sys.argv[1]))
