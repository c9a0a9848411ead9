"""Four daemons on one broker and one engine; one of them is killed."""

import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from monitor.quantities import Quantity
from monitor.setup.settings import load_settings
from monitor.setup.share import ShareSettings
from monitor.store.engines import opened
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from tests.support.daemon import RunningDaemon
from tests.support.engines import TimeSeriesServer
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

DAEMONS = 4
ENCLOSURES = [f"e{n}" for n in range(12)]
PER_PROBE = 200
SETUP = "".join(
    f"""
    [[enclosure]]
    id = "{each}"
    name = "Enclosure {each}"
    probe = [{{ id = "canopy", zone = "canopy", silent_after_s = 86400 }}]
    range = {{ canopy = {{ day = {{ humidity = [60, 90] }}, night = {{ humidity = [60, 90] }} }} }}
    """
    for each in ENCLOSURES
)
CHANNEL = """
[[channel]]
name = "phone"
kind = "webhook"
url = "{url}"
allow_private = true
"""

PEER = """
[[peer]]
name = "{name}"
url = "http://127.0.0.1:{port}"
"""


def environ(server: TimeSeriesServer, number: int, client_id: str) -> dict[str, str]:
    """What makes one of the four of a daemon."""
    return {
        "DEWKEEP_STORE__ENGINE": server.engine,
        "DEWKEEP_STORE__URL": server.url,
        "DEWKEEP_SHARE__PART": f"{number}/{DAEMONS}",
        "DEWKEEP_BROKER__CLIENT_ID": client_id,
    }


def owner(place: str) -> int:
    """Whose an enclosure is, from 1."""
    return next(n for n in range(1, DAEMONS + 1) if ShareSettings(part=f"{n}/{DAEMONS}").has(place))


def stream(start: int) -> Iterator[tuple[str, bytes]]:
    """Readings 30 s apart; the humidity of every enclosure crashes half-way, for good."""
    for step in range(PER_PROBE):
        for each in ENCLOSURES:
            humidity = 75.0 if step < PER_PROBE // 2 else 50.0
            yield f"dewkeep/{each}/canopy", senml(start + 30 * step, 20 + step / 100, humidity)


def four(
    stack: ExitStack, folder: Path, mosquitto: Mosquitto, server: TimeSeriesServer, more: str = ""
) -> list[RunningDaemon]:
    """Four daemons that know of each other, ready."""
    daemons = []
    for number in range(1, DAEMONS + 1):
        home = folder / f"daemon-{number}"
        home.mkdir()
        daemons.append(RunningDaemon(home, mosquitto.port, setup=SETUP, more=more))
        stack.callback(daemons[-1].close)
    ports = {f"keeper-{n}": each.http_port for n, each in enumerate(daemons, start=1)}
    for number, daemon in enumerate(daemons, start=1):
        others = (name for name in ports if name != f"keeper-{number}")
        peers = "".join(PEER.format(name=name, port=ports[name]) for name in others)
        daemon.config.write_text(daemon.config.read_text() + peers)
        daemon.start(**environ(server, number, f"keeper-{number}"))
    for daemon in daemons:
        daemon.wait_ready()
    return daemons


def watched(daemon: RunningDaemon) -> dict[str, tuple[str, list[str]]]:
    """The house as a daemon shows it: how each place is watched, and by whom."""
    places = daemon.get("/house")["places"]
    return {each["id"]: (each["watch"], each["owners"]) for each in places}


@pytest.mark.slow
def test_the_whole_house_from_any_of_four(
    tmp_path: Path, mosquitto: Mosquitto, server: TimeSeriesServer
) -> None:
    """Each shows all enclosures with their owners; those of one that is killed stand first.

    With what was last known of them, in words, until it is started again.
    """
    well = {each: ("watched", [f"keeper-{owner(each)}"]) for each in ENCLOSURES}
    orphans = {each for each in ENCLOSURES if owner(each) == 2}
    without = well | {each: ("unwatched", ["keeper-2"]) for each in orphans}
    start = int(time.time()) - 60
    with ExitStack() as stack:
        daemons = four(stack, tmp_path, mosquitto, server)
        publisher = stack.enter_context(Publisher(mosquitto.port))
        publisher.send_all(
            (f"dewkeep/{each}/canopy", senml(start, 20.0, 75.0)) for each in ENCLOSURES
        )

        def values(daemon: RunningDaemon) -> int:
            places = daemon.get("/house")["places"]
            return sum(len(each["probes"][0]["values"]) for each in places)

        def all_see(these: list[RunningDaemon], wanted: dict[str, tuple[str, list[str]]]) -> bool:
            return all(watched(each) == wanted for each in these)

        eventually(lambda: all_see(daemons, well), "each sees the whole house", 40)
        eventually(lambda: {*map(values, daemons)} == {2 * len(ENCLOSURES)}, "with its values", 40)
        says = {daemon.get("/house")["says"] for daemon in daemons}
        assert says == {"12 enclosures: none needs a hand."}

        daemons[1].kill()
        living = [daemons[0], *daemons[2:]]
        eventually(lambda: all_see(living, without), "its enclosures are told", 40)
        for daemon in living:
            house = daemon.get("/house")
            first = house["places"][: len(orphans)]
            assert {each["id"] for each in first} == orphans
            for each in first:
                assert each["says"].startswith("Nobody answers for it since ")
                assert each["says"].endswith(": keeper-2 does not answer.")
                assert {v["quantity"]: v["value"] for v in each["probes"][0]["values"]} == {
                    "temperature": 20.0,
                    "humidity": 75.0,
                }
            assert house["says"].startswith("12 enclosures: nobody answers for ")
            page = daemon.http.get("/house").text
            assert page.index(f'id="{max(orphans)}"') < page.index(
                f'id="{min(set(well) - orphans)}"'
            )
            assert "keeper-2 does not answer since" in page

        daemons[1].start(**environ(server, 2, "keeper-2"))
        eventually(lambda: all_see(daemons, well), "all is watched again", 40)


@pytest.mark.slow
def test_four_daemons_and_one_that_is_killed(
    tmp_path: Path, mosquitto: Mosquitto, server: TimeSeriesServer
) -> None:
    """Each enclosure's alarm is raised and told once, by its owner; no reading is lost or doubled.

    A fifth daemon is refused while the owner lives. The killed one is started again under its own
    client id and goes on with what the broker kept for it.
    """
    assert {owner(each) for each in ENCLOSURES} == {1, 2, 3, 4}
    receiver = Receiver()
    start = int(time.time()) - 30 * PER_PROBE
    messages = list(stream(start))
    third = len(messages) // 3
    with ExitStack() as stack:
        stack.callback(receiver.close)
        daemons = four(stack, tmp_path, mosquitto, server, CHANNEL.format(url=receiver.url))
        publisher = stack.enter_context(Publisher(mosquitto.port))
        publisher.send_all(messages[:third])

        stranger_folder = tmp_path / "stranger"
        stranger_folder.mkdir()
        stranger = RunningDaemon(stranger_folder, mosquitto.port, setup=SETUP)
        refusal = stranger.refused(**environ(server, 2, "stranger"))
        assert "keeper-2 watches part 2/4, so stranger must not watch part 2/4" in refusal

        daemons[1].kill()
        publisher.send_all(messages[third : 2 * third])
        daemons[1].start(**environ(server, 2, "keeper-2"))
        publisher.send_all(messages[2 * third :])

        def all_in() -> bool:
            newest = [
                daemons[owner(each) - 1].get(f"/enclosures/{each}/climate")["probes"][0]
                for each in ENCLOSURES
            ]
            last = 20 + (PER_PROBE - 1) / 100
            return all(each["temperature"]["value"] == pytest.approx(last) for each in newest)

        eventually(all_in, "the last readings")
        told = {f"e{n}" for n in range(len(ENCLOSURES))}
        eventually(lambda: {r.json["enclosure"] for r in receiver.received} == told, "all told")
        raised = [
            (number, alarm["enclosure"])
            for number, daemon in enumerate(daemons, start=1)
            for alarm in daemon.get("/alarms")
        ]

    assert sorted(raised) == sorted((owner(each), each) for each in ENCLOSURES)
    assert len({r.headers["Idempotency-Key"] for r in receiver.received}) == len(ENCLOSURES)
    server.show()
    settings = load_settings(daemons[0].config, environ(server, 1, "keeper-1"))
    with (
        closing(Database(settings.store.path)) as database,
        opened(settings.store, database) as readings,
    ):
        for each in ENCLOSURES:
            key = SeriesKey(each, "canopy", Quantity.TEMPERATURE)
            track = readings.track(key, 1000 * start, 1000 * (start + 30 * PER_PROBE))
            assert track.at_ms.tolist() == [1000 * (start + 30 * step) for step in range(PER_PROBE)]
            day = readings.buckets(key, 1000 * start, 1000 * (start + 30 * PER_PROBE), 1)
            assert day.count.sum() == PER_PROBE
