"""docs/sensors.md, done literally: each device it shows is set up and heard."""

from pathlib import Path

import pytest

from monitor.ingest.topics import Template
from monitor.setup.sources import PayloadKind, Source
from tests.support.daemon import RunningDaemon
from tests.support.guide import Example, examples_in
from tests.support.publisher import Publisher
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

GUIDE = (Path(__file__).parents[2] / "docs/sensors.md").read_text(encoding="utf-8")
EXAMPLES = examples_in(GUIDE)


def test_every_kind_of_message_is_shown() -> None:
    """Also devices with a topic for each value, as numbers and as JSON."""
    kinds = {(each.sources[0].payload, len(each.messages)) for each in EXAMPLES}

    assert kinds == {
        (PayloadKind.SENML, 1),
        (PayloadKind.JSON, 1),
        (PayloadKind.JSON, 2),
        (PayloadKind.NUMBER, 2),
    }


def device_of(example: Example) -> str:
    """The name that an example's device goes by; empty if it needs none."""
    names = {
        match.device
        for topic, _ in example.messages
        for source in example.sources
        if (match := Template(source).match(topic))
    }
    (name,) = names
    return name


def written(source: Source) -> str:
    """A source as the settings have it."""
    keys = source.model_dump(mode="json", exclude_defaults=True)
    return "\n[[source]]\n" + "".join(f'{key} = "{value}"\n' for key, value in keys.items())


@pytest.mark.slow
def test_every_example_is_read_as_it_stands(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """All in one settings file, their devices given to probes: 23.4 °C and 71.2 % from each."""
    sources = "".join(written(source) for each in EXAMPLES for source in each.sources)
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=sources).start()
    try:
        daemon.wait_ready()
        devices = {f"p{n}": name for n, each in enumerate(EXAMPLES) if (name := device_of(each))}
        cube = daemon.get("/enclosures/cork-cube")
        cube["probe"] += [
            {"id": probe, "zone": "floor", "device": name} for probe, name in devices.items()
        ]
        assert daemon.http.put("/api/v1/enclosures/cork-cube", json=cube).is_success
        with Publisher(mosquitto.port) as publisher:
            publisher.send_all(
                (topic, payload.encode()) for each in EXAMPLES for topic, payload in each.messages
            )

        def heard() -> dict[str, tuple[float, float]]:
            return {
                each["probe"]: (each["temperature"]["value"], each["humidity"]["value"])
                for each in daemon.get("/enclosures/cork-cube/climate")["probes"]
                if "temperature" in each and "humidity" in each
            }

        probes = {"canopy", *devices}
        assert len(probes) == len(EXAMPLES)
        eventually(lambda: heard().keys() == probes, "all of them")
        assert set(heard().values()) == {(23.4, 71.2)}
        for probe in probes:
            told = daemon.get(
                "/enclosures/cork-cube/series",
                probe=probe,
                quantity="dew_point",
                points=10,
                **{"from": "2026-01-01T00:00:00Z", "to": "2100-01-01T00:00:00Z"},
            )
            assert len(told["points"]) == 1, probe
        assert daemon.get("/health")["rejected"]["counts"] == {}
    finally:
        daemon.close()
