"""`dewkeep serve` by a fast clock, that tells what its memory is made of; for the soak only.

python -m tests.studies.inside SPEED serve --config FILE: the file `inside` beside it is kept fresh.

Resident memory tells nothing of its causes. What Python holds is counted by its own allocator, what
SQLite holds by SQLite, and glibc tells how much of what it took from the system is free again but
lies between what is used.
"""

import ctypes
import json
import sys
import threading
from contextlib import suppress
from dataclasses import asdict, dataclass
from math import nan
from pathlib import Path

from tests.support.fast_clock import serve

EVERY_S = 1.0
INSIDE = "inside"


@dataclass(frozen=True, slots=True)
class Inside:
    """What memory is made of."""

    blocks: int
    """Objects and other pieces that Python holds."""
    sqlite_mb: float
    """SQLite's page caches and statements."""
    free_mb: float
    """Free within glibc's heaps."""

    @classmethod
    def read(cls, folder: Path) -> "Inside":
        """As last told by the process that runs there."""
        return cls(**json.loads((folder / INSIDE).read_text()))


class _Mallinfo2(ctypes.Structure):
    """glibc's own account (mallinfo(3)); ``fordblks`` are bytes in free blocks."""

    _fields_ = [
        (name, ctypes.c_size_t)
        for name in (
            *("arena", "ordblks", "smblks", "hblks", "hblkhd"),
            *("usmblks", "fsmblks", "uordblks", "fordblks", "keepcost"),
        )
    ]


def look() -> Inside:
    """At this process; NaN for what is not to be had (no glibc, a Python with its own SQLite)."""
    sqlite_mb = free_mb = nan
    with suppress(OSError, AttributeError):
        sqlite = ctypes.CDLL("libsqlite3.so.0")
        sqlite.sqlite3_memory_used.restype = ctypes.c_int64
        sqlite_mb = sqlite.sqlite3_memory_used() / 2**20
    with suppress(OSError, AttributeError):
        libc = ctypes.CDLL("libc.so.6")
        libc.mallinfo2.restype = _Mallinfo2
        free_mb = libc.mallinfo2().fordblks / 2**20
    return Inside(sys.getallocatedblocks(), sqlite_mb, free_mb)


def keep_telling(folder: Path) -> None:
    """Until the process ends."""
    unfinished = folder / f"{INSIDE}.new"
    while True:
        unfinished.write_text(json.dumps(asdict(look())))
        unfinished.rename(folder / INSIDE)
        threading.Event().wait(EVERY_S)


if __name__ == "__main__":
    config = Path(sys.argv[-1])
    threading.Thread(target=keep_telling, args=(config.parent,), daemon=True).start()
    serve(config, float(sys.argv[1]))
