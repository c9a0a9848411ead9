"""From a crash to whoever is to know of it, through a real process, broker and receivers."""

import json
import time
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path

import httpx
import pytest

from tests.support.daemon import RunningDaemon
from tests.support.listener import Listener
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

TOPIC = "dewkeep/cork-cube/canopy"
PUBLIC = "https://dewkeep.example"
NAME = "Cork <b>cube</b>"
SETUP = f"""
[[enclosure]]
id = "cork-cube"
name = "{NAME}"
probe = [{{ id = "canopy", zone = "canopy", silent_after_s = 86400 }}]
range = {{ canopy = {{ day = {{ humidity = [60, 90] }}, night = {{ humidity = [60, 90] }} }} }}
"""

Start = Callable[[str], RunningDaemon]


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A receiver of webhooks."""
    receiver = Receiver()
    yield receiver
    receiver.close()


@pytest.fixture
def start(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[Start]:
    """Starts a daemon with further settings; it is stopped after the test."""
    started: list[RunningDaemon] = []

    def begin(more: str) -> RunningDaemon:
        daemon = RunningDaemon(tmp_path, mosquitto.port, setup=SETUP, more=more)
        daemon.config.write_text(
            daemon.config.read_text().replace("[server]", f'[server]\npublic_url = "{PUBLIC}"')
        )
        started.append(daemon.start())
        daemon.wait_ready()
        return daemon

    yield begin
    for daemon in started:
        daemon.close()


def crash(port: int) -> None:
    """Half an hour of dry air, up to now."""
    begin = int(time.time()) - 1800
    with Publisher(port) as probe:
        probe.send_all((TOPIC, senml(begin + 60 * n, 23.0, 45.0)) for n in range(30))


def hook(receiver: Receiver, name: str = "phone", more: str = "") -> str:
    """A webhook in the settings."""
    return (
        f'\n[[channel]]\nname = "{name}"\nkind = "webhook"\nurl = "{receiver.url}"\n'
        f"allow_private = true\n{more}"
    )


def follow(daemon: RunningDaemon, method: str, url: str, **headers: str) -> httpx.Response:
    """Ask for a link as a phone does, by the public name."""
    path = url.removeprefix(PUBLIC)
    return daemon.http.request(method, path, headers={"Host": "dewkeep.example", **headers})


def test_an_alarm_is_acknowledged_by_link_once(
    start: Start, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Looking changes nothing, the button acknowledges, and then the link is spent."""
    daemon = start(hook(receiver))
    crash(mosquitto.port)
    eventually(lambda: receiver.received, "the webhook")
    url = receiver.received[0].json["acknowledge_url"]
    assert url.startswith(f"{PUBLIC}/acknowledge/")

    for _ in range(2):
        page = follow(daemon, "GET", url)
        assert (page.status_code, page.text.count("<button>")) == (200, 1)
        assert "Cork &lt;b&gt;cube&lt;/b&gt;" in page.text
        assert "Humidity in the canopy" in page.text
    assert daemon.get("/alarms")[0]["state"] == "unacknowledged"

    # A browser sends the page's own address along with the form.
    done = follow(daemon, "POST", url, Origin=PUBLIC)
    assert (done.status_code, done.text.count("<button>")) == (200, 0)
    (alarm,) = daemon.get("/alarms")
    assert (alarm["state"], alarm["acknowledged_by"]) == ("acknowledged", "link")

    for method in ("POST", "GET"):
        spent = follow(daemon, method, url)
        assert (spent.status_code, spent.text.count("<button>")) == (410, 0)
        assert "was used already" in spent.text
        assert "by link" in spent.text


def test_a_page_behind_a_link_gives_nothing_away(
    start: Start, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """No script, no frame, no cache, no address to others; and nothing at all without a ticket."""
    daemon = start(hook(receiver))
    crash(mosquitto.port)
    eventually(lambda: receiver.received, "the webhook")
    url = receiver.received[0].json["acknowledge_url"]
    headers = follow(daemon, "GET", url).headers

    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["content-security-policy"].startswith("default-src 'none'; ")
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    other = url.replace("humidity.low", "humidity.high")
    forged = url[:-1] + ("0" if url[-1] != "0" else "1")
    for wrong in (other, forged, f"{PUBLIC}/acknowledge/a/b"):
        for method in ("GET", "POST"):
            page = follow(daemon, method, wrong)
            assert page.status_code == 404
            assert "Cork" not in page.text
    assert daemon.get("/alarms")[0]["state"] == "unacknowledged"


def test_a_link_to_what_is_acknowledged_already(
    start: Start, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """It says so, by whom and without a button; pressed all the same, it is no mistake of ours."""
    daemon = start(hook(receiver))
    crash(mosquitto.port)
    eventually(lambda: receiver.received, "the webhook")
    told = receiver.received[0].json
    daemon.post(f"/alarms/{told['id']}/acknowledge")

    page = follow(daemon, "GET", told["acknowledge_url"])
    assert (page.status_code, page.text.count("<button>")) == (200, 0)
    assert "by keeper" in page.text
    assert follow(daemon, "POST", told["acknowledge_url"]).status_code == 409


def test_the_public_name_opens_nothing_else(start: Start, receiver: Receiver) -> None:
    """The rest of an API without tokens stays its own machine's."""
    daemon = start(hook(receiver))

    assert follow(daemon, "GET", f"{PUBLIC}/api/v1/alarms").status_code == 421
    raw = HTTPConnection("127.0.0.1", daemon.http_port)  # it sends a path as it stands
    raw.request("GET", "/acknowledge/../api/v1/alarms", headers={"Host": "dewkeep.example"})
    assert raw.getresponse().status == 404
    raw.close()


@pytest.mark.slow
def test_nobody_acknowledges_and_the_next_is_told(
    start: Start, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """The daemon is killed while it waits; the neighbour is told once, with who was told first."""
    neighbour = Receiver()
    try:
        daemon = start(
            hook(receiver, more='escalate_after_min = 0.05\nescalate_to = "neighbour"\n')
            + hook(neighbour, "neighbour", "only_escalation = true\n")
        )
        crash(mosquitto.port)
        eventually(lambda: receiver.received, "the first webhook")
        daemon.kill()
        daemon.start()
        eventually(lambda: neighbour.received, "the second")
        eventually(
            lambda: sum(row["waiting"] for row in daemon.get("/health")["channels"]) == 0,
            "an empty outbox",
        )
        daemon.kill()
        daemon.start()

        (told,) = [request.json for request in neighbour.received]
        first = receiver.received[0].json
        assert told["idempotency_key"] == f"{first['id']}/escalated/neighbour"
        assert (told["event"], told["escalated_from"]) == ("escalated", "phone")
        assert {request.json["event"] for request in receiver.received} == {"raised"}
    finally:
        neighbour.close()


@pytest.mark.slow
def test_what_is_acknowledged_before_it_could_leave_wakes_nobody(
    start: Start, mosquitto: Mosquitto
) -> None:
    """The phone is out of reach, and the daemon is killed as soon as it was acknowledged."""
    down = True
    phone = Receiver(lambda _number: 503 if down else 204)
    try:
        daemon = start(hook(phone))
        crash(mosquitto.port)
        eventually(lambda: phone.received, "a delivery that fails")
        (alarm,) = daemon.get("/alarms")
        daemon.post(f"/alarms/{alarm['id']}/acknowledge")
        daemon.kill()
        tried = len(phone.received)
        down = False
        daemon.start()
        daemon.wait_ready()
        (stands,) = eventually(
            lambda: [row for row in daemon.get("/health")["channels"] if not row["waiting"]],
            "an empty line",
        )

        assert stands["called_off"] == 1
        assert len(phone.received) == tried
        assert [each["state"] for each in daemon.get("/alarms")] == ["acknowledged"]
    finally:
        phone.close()


def test_an_alarm_stands_at_the_broker(
    start: Start, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """Retained by its place and id, and told on the keeper's own topic by a channel."""
    bus = '\n[[channel]]\nname = "bus"\nkind = "mqtt"\ntopic = "house/alarms"\n'
    daemon = start(hook(receiver) + bus)
    with Listener(mosquitto.port, "house/alarms") as house:
        crash(mosquitto.port)
        eventually(lambda: house.received, "the message")
    (alarm,) = daemon.get("/alarms")
    topic = f"dewkeep-alarms/cork-cube/{alarm['id']}"
    with Listener(mosquitto.port, topic) as board:
        eventually(lambda: board.received, "the retained alarm")

    told = json.loads(house.received[0].payload)
    assert (told["id"], told["enclosure_name"]) == (alarm["id"], NAME)
    assert "acknowledge_url" not in told
    assert json.loads(board.received[0].payload)["state"] == "unacknowledged"


@pytest.mark.slow
def test_a_heartbeat_stops_when_the_broker_is_gone(
    start: Start, mosquitto: Mosquitto, receiver: Receiver
) -> None:
    """While all is well it goes out; without a broker nothing can be known, so nothing is said."""
    daemon = start(
        f'\n[heartbeat]\nurl = "{receiver.url}"\nevery_s = 10\nmethod = "POST"\n'
        "allow_private = true\n"
    )
    eventually(lambda: receiver.received, "a sign of life", within_s=30)
    mosquitto.kill()
    eventually(lambda: daemon.http.get("/readyz").status_code == 503, "the loss is noticed")
    beats = len(receiver.received)
    eventually(lambda: "no heartbeat: dewkeep itself" in daemon.log.read_text(), "it is told", 30)

    assert len(receiver.received) <= beats + 1
