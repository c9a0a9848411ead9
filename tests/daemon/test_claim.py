"""One owner for each enclosure, settled at a real broker."""

import socket
import threading
from collections.abc import Callable, Iterator

import pytest

from monitor.daemon.claim import Claim
from monitor.errors import Conflict, StoreUnavailable
from monitor.setup.settings import BrokerSettings
from monitor.setup.share import ShareSettings
from tests.support.listener import Listener
from tests.support.servers import Mosquitto, free_port
from tests.support.waiting import eventually

New = Callable[..., Claim]


@pytest.fixture
def lost() -> list[str]:
    """What claims said when they were lost."""
    return []


@pytest.fixture
def new(mosquitto: Mosquitto, lost: list[str]) -> Iterator[New]:
    """Makes claims, by client id and part."""
    made: list[Claim] = []

    def claim(client_id: str, part: str) -> Claim:
        broker = BrokerSettings(port=mosquitto.port, client_id=client_id)
        made.append(Claim(broker, ShareSettings(part=part), lost.append))
        return made[-1]

    yield claim
    for each in made:
        each.release()


def taken_by(new: New, client_id: str) -> bool:
    """Whether another daemon gets the part."""
    claim = new(client_id, "1/4")
    try:
        claim.take()
    except Conflict:
        return False
    return True


def test_parts_live_side_by_side(new: New) -> None:
    """Four daemons with four parts."""
    for n in range(1, 5):
        new(f"keeper-{n}", f"{n}/4").take()


def test_a_second_owner_is_refused(new: New) -> None:
    """It is told who has what; the first one goes on."""
    first = new("keeper-1", "1/4")
    first.take()

    with pytest.raises(Conflict, match=r"keeper-1 watches part 1/4, so keeper-9 must not"):
        new("keeper-9", "1/4").take()

    assert first.says == ""


def test_another_follows_when_the_first_has_gone(new: New) -> None:
    """After an orderly end the part is free."""
    first = new("keeper-1", "1/4")
    first.take()
    first.release()

    new("keeper-9", "1/4").take()


def test_another_follows_when_the_first_has_died(new: New) -> None:
    """The broker takes a dead daemon's claim down by its last will."""
    first = new("keeper-1", "1/4")
    first.take()
    connection = first._client.socket()
    assert connection is not None
    first._client.loop_stop()
    connection.close()

    eventually(lambda: taken_by(new, "keeper-9"), "the part is free")


def test_at_most_one_of_many_at_once(new: New) -> None:
    """However they start: exactly one of them gets what all of them want."""
    claims = [new(f"keeper-{n}", "1/1") for n in range(6)]
    taken: list[str] = []

    def take(claim: Claim) -> None:
        try:
            claim.take()
        except Conflict:
            return
        taken.append(claim.says)

    threads = [threading.Thread(target=take, args=(claim,)) for claim in claims]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert taken == [""]


def test_a_claim_outlives_the_broker(new: New, mosquitto: Mosquitto, lost: list[str]) -> None:
    """A broker that was killed forgets everything; the claim is there again when it is back."""
    first = new("keeper-1", "1/4")
    first.take()
    mosquitto.kill()
    mosquitto.forget()
    mosquitto.start()
    with Listener(mosquitto.port, "dewkeep-shares/keeper-1/+") as listener:
        eventually(lambda: any(each.payload for each in listener.received), "claimed again")

    assert not taken_by(new, "keeper-9")
    assert lost == []


def test_two_with_one_client_id_are_told(new: New, lost: list[str]) -> None:
    """The second is refused, whatever it wants; the first goes on."""
    new("keeper-1", "1/4").take()

    with pytest.raises(Conflict, match="another daemon of this id watches part 1/4"):
        new("keeper-1", "1/4").take(within_s=0.5)

    assert lost == []


def test_who_comes_back_second_gives_way(new: New, lost: list[str]) -> None:
    """A daemon that was cut off, and followed by another, stops when it sees that."""
    first = new("keeper-1", "1/4")
    first.take()
    first._client.reconnect_delay_set(5, 5)
    connection = first._client.socket()
    assert isinstance(connection, socket.socket)
    connection.shutdown(socket.SHUT_RDWR)
    eventually(lambda: taken_by(new, "keeper-9"), "the part is free")

    eventually(lambda: lost, "told")

    assert lost == [first.says]
    assert first.says.startswith("keeper-9 watches part 1/4, so keeper-1 must not watch part 1/4")


def test_without_a_broker_nobody_knows() -> None:
    """So it is not taken."""
    broker = BrokerSettings(port=free_port(), client_id="keeper-1")

    with pytest.raises(StoreUnavailable, match="nobody knows whether another daemon"):
        Claim(broker, ShareSettings(part="1/4"), lambda _says: None).take(within_s=0.3)
