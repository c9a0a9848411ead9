"""Feeds a million spoiled inputs to whatever reads what others write.

    python -m tests.hostile.fuzz [--cases N] [--number N]

Decoders, settings, set-ups, species profiles and the import of logs must answer each with what they
found or with an error of ours, and need no more memory in the end than after the first tenth.
"""

import argparse
import datetime as dt
import resource
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import DewkeepError
from monitor.ingest import csv_log
from monitor.ingest.payload import decoder_for
from monitor.ingest.topics import Template
from monitor.quantities import Quantity
from monitor.setup.file import load_setup
from monitor.setup.settings import load_settings
from monitor.setup.sources import PayloadKind, Source
from monitor.species.library import load_library
from tests.hostile.mutations import Mutator

ROOT = Path(__file__).parents[2]
NOW_MS = 1_796_000_000_000
TOPIC = "dewkeep/{enclosure}/{probe}"
SENML = (
    b'[{"bt":1795999000,"n":"temperature","u":"Cel","v":23.4},{"n":"humidity","u":"%RH","v":81.2}]',
    b'[{"bn":"x:","bt":1795999000,"bu":"Cel","bver":10,"n":"temperature","v":2.5,"t":-3}]',
    b'[{"n":"mister","vb":true},{"n":"substrate_moisture","v":30,"bs":1,"s":2}]',
)
JSON = (
    b'{"t":23.4,"h":81,"ts":1795999000,"a":[{"b":1},2,"3"],"deep":{"er":{"still":[[[1]]]}}}',
    b'[{"v":"23.4"},null,true,{"t":1e3}]',
)
NUMBERS = (b"23.4", b" 81.2 \n", b"-0.5e1", b"1795999000")
LOGS = (
    b"time,temperature,humidity\n2026-11-01T10:00:00Z,23.4,81.2\n2026-11-01 10:01:00,23.5,81.0\n",
    b'"Time";"Temperature (C)";"Humidity (%)"\n1795999000;23.4;81\n1795999060;23.5;80\n',
    b"time\tprobe\tquantity\tvalue\tunit\tquality\treason\n",
)

Feed = Callable[[bytes], None]


@dataclass(frozen=True, slots=True)
class Target:
    """Something that reads: its seeds, how it is fed, and its share of the cases."""

    seeds: tuple[bytes, ...]
    feed: Feed
    share: float


def targets(folder: Path) -> Mapping[str, Target]:
    """All of them; files are written into a folder."""
    library = load_library()
    # The settings name it, so it has to be there for them to be right.
    (folder / "enclosures.toml").write_bytes((ROOT / "config/enclosures.toml").read_bytes())
    (folder / "species").mkdir()
    senml = Source(topic=TOPIC)
    pointers = Source(
        topic=TOPIC,
        payload=PayloadKind.JSON,
        temperature="/t",
        humidity="/a/0/b",
        time="/ts",
        illuminance="/deep/er",
    )
    number = Source(topic=TOPIC, payload=PayloadKind.NUMBER, quantity=Quantity.HUMIDITY)

    def decode(source: Source) -> Feed:
        decoder = decoder_for(source)

        def feed(data: bytes) -> None:
            decoder(data, NOW_MS)

        return feed

    def topic(data: bytes) -> None:
        Template(senml).match(data.decode(errors="replace"))

    def written(name: str, load: Callable[[Path], object]) -> Feed:
        path = folder / name

        def feed(data: bytes) -> None:
            path.write_bytes(data)
            load(path)

        return feed

    def import_log(path: Path) -> None:
        layout = csv_log.layout_of(path, None, {})
        report = csv_log.Report()
        for _ in csv_log.read(path, layout, "canopy", csv_log.Clock(dt.UTC), NOW_MS, report):
            pass

    def files(pattern: str) -> tuple[bytes, ...]:
        return tuple(path.read_bytes() for path in sorted(ROOT.glob(pattern)))

    settings = tuple(
        text.replace(b"# ", b"").replace(b"#[", b"[") for text in files("config/dewkeep.toml")
    )
    return {
        "senml": Target(SENML, decode(senml), 0.30),
        "json": Target(JSON, decode(pointers), 0.25),
        "number": Target(NUMBERS, decode(number), 0.20),
        "topic": Target((b"dewkeep/cork-cube/canopy",), topic, 0.10),
        "settings": Target(
            (*files("config/dewkeep.toml"), *settings),
            written("dewkeep.toml", lambda path: load_settings(path, {})),
            0.03,
        ),
        "set-up": Target(
            files("config/enclosures.toml"),
            written("enclosures.toml", lambda path: load_setup(path, library)),
            0.05,
        ),
        "profile": Target(
            files("monitor/species/profiles/pogona-vitticeps.toml"),
            written("species/pogona-vitticeps.toml", lambda path: load_library(path.parent)),
            0.01,
        ),
        "import": Target(LOGS, written("log.csv", import_log), 0.06),
    }


def feed_all(cases: int, number: int, folder: Path) -> list[str]:
    """Feed so many cases; what went wrong, each with its input."""
    wrong: list[str] = []
    for name, target in targets(folder).items():
        mutator = Mutator(target.seeds, number)
        count = max(1, round(cases * target.share))
        for n in range(count):
            data = mutator.case()
            try:
                target.feed(data)
            except DewkeepError:
                continue
            except Exception:  # noqa: BLE001 - what this is looking for
                wrong.append(f"{name}, case {n}: {data[:300]!r}\n{traceback.format_exc(limit=-3)}")
                break
    return wrong


def main() -> int:
    """Run, and tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.hostile.fuzz")
    parser.add_argument("--cases", type=int, default=1_000_000)
    parser.add_argument("--number", type=int, default=1)
    given = parser.parse_args()
    began = time.monotonic()
    wrong: list[str] = []
    peaks = []
    for part, share in enumerate((0.1, 0.9)):
        with tempfile.TemporaryDirectory() as folder:
            wrong += feed_all(round(given.cases * share), given.number + part, Path(folder))
        peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
    print("\n".join(wrong))
    print(
        f"{given.cases:,} cases in {time.monotonic() - began:.0f} s, {len(wrong)} uncaught; most "
        f"memory {peaks[0]} MB after a tenth, {peaks[1]} MB in the end"
    )
    return int(bool(wrong) or peaks[1] > 1.5 * peaks[0])


if __name__ == "__main__":
    sys.exit(main())
