"""`dewkeep serve` with a wall clock that can be put forward and back from outside.

python -m tests.faults.shifted serve --config FILE: the file `offset` beside it holds the seconds.
"""

import os
import sys
import time
from functools import partial
from pathlib import Path

from monitor.cli.logs import log_to_stderr
from monitor.daemon.daemon import run
from monitor.setup.settings import load_settings

OFFSET_FILE = "offset"


def shifted_clock(file: Path) -> int:
    """Epoch milliseconds as far off as the file says."""
    return time.time_ns() // 1_000_000 + round(1000 * float(file.read_text()))


if __name__ == "__main__":
    config = Path(sys.argv[-1])
    log_to_stderr()
    run(
        load_settings(config, os.environ),
        partial(print, flush=True),
        partial(shifted_clock, config.parent / OFFSET_FILE),
    )
