"""What decoding a message and judging a reading cost: one run, figures and ratios.

Run from the root of the repository: ``python -m tests.benchmarks.bench_decode``. Decoding is set
against ``json.loads`` alone on the same bytes, so that the ratios can be compared between machines.
"""

import json
import sys
from collections.abc import Callable
from functools import partial
from timeit import repeat

import numpy as np

from monitor.ingest.payload import decoder_for
from monitor.ingest.payload.senml import read_any
from monitor.judge import Memory, Rules, judge
from monitor.quantities import Quantity
from monitor.setup.judging import JudgeSettings
from monitor.setup.models import Correction
from monitor.setup.sources import PayloadKind, Source
from monitor.store.readings import Readings
from monitor.times import DAY_MS, MINUTE_MS

NOW_MS = 1_796_000_000_000
SOON_MS = NOW_MS + 10 * MINUTE_MS
LATER_MS = NOW_MS + DAY_MS
TOPIC = "dewkeep/{enclosure}/{probe}"
SENML = (
    b'[{"bt":1796000000,"n":"temperature","u":"Cel","v":23.4},{"n":"humidity","u":"%RH","v":81.2}]'
)
FIELDS = b'{"t":23.4,"h":81.2,"ts":1796000000}'
NUMBER = b"23.4\n"
SERIES = 400


def best_us(call: Callable[[], object], times: int) -> float:
    """Microseconds for one call: the best of five rounds, so that other work counts least."""
    return min(repeat(call, number=times, repeat=5)) / times * 1e6


def decoding() -> None:
    """Each kind of payload against json.loads on the same bytes."""
    fields = Source(
        topic=TOPIC,
        payload=PayloadKind.JSON,
        temperature="/t",
        humidity="/h",
        time="/ts",
    )
    number = Source(topic=TOPIC, payload=PayloadKind.NUMBER, quantity=Quantity.TEMPERATURE)
    cases = [
        ("SenML, 2 records", decoder_for(Source(topic=TOPIC)), SENML),
        ("SenML, careful path", read_any, SENML),
        ("JSON, 3 pointers", decoder_for(fields), FIELDS),
        ("number", decoder_for(number), NUMBER),
    ]
    sys.stdout.write("decode                 us/message   json.loads   ratio\n")
    for name, decode, payload in cases:
        ours = best_us(partial(decode, payload, NOW_MS), 20_000)
        loads = best_us(partial(json.loads, payload), 20_000)
        sys.stdout.write(f"{name:22} {ours:10.2f}   {loads:10.2f}   {ours / loads:5.2f}\n")


def some_readings(count: int, at_ms: int) -> Readings:
    """Quiet readings of many series, in the mixed order in which messages arrive."""
    random = np.random.default_rng(count)
    series = random.permutation(np.arange(count) % SERIES)
    value = np.where(series % 2, 24 + random.normal(0, 0.2, count), 80 + random.normal(0, 2, count))
    return Readings(
        series, at_ms + np.arange(count) * 10, value.round(1), np.zeros(count, np.uint8)
    )


def judging() -> None:
    """Batches over 400 series, a fifth of them calibrated; in the wild one every second jumps."""
    quantities = {
        series: Quantity.TEMPERATURE if series % 2 else Quantity.HUMIDITY
        for series in range(SERIES)
    }
    corrections = {series: Correction(offset=0.3) for series in range(0, SERIES, 5)}
    rules = Rules.compiled(quantities, corrections, JudgeSettings())
    memory = Memory(SERIES)
    memory.learn(judge(rules, memory, some_readings(4000, NOW_MS), LATER_MS).lesson)
    sys.stdout.write("judge                  us/batch     us/reading\n")
    quiet = {f"{count} readings": some_readings(count, SOON_MS) for count in (10, 400, 4000)}
    wild = some_readings(4000, SOON_MS)
    wild.value[::2] -= 60
    for name, batch in {**quiet, "4000 readings, wild": wild}.items():
        took = best_us(partial(judge, rules, memory, batch, LATER_MS), 300)
        sys.stdout.write(f"{name:22} {took:8.1f}     {took / len(batch):10.3f}\n")


if __name__ == "__main__":
    decoding()
    judging()
