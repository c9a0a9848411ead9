"""Killed between the commit and the delivery, for every kind of channel."""

import hashlib
import json
import signal
import ssl
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import trustme

from monitor.notify.courier import Courier
from monitor.notify.kinds import channels
from monitor.setup.settings import load_settings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox
from tests.notify.notices import DRY, KEY
from tests.support.listener import Listener
from tests.support.mail_server import MailServer
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

if TYPE_CHECKING:
    from tests.notify.conftest import Answer, Receiver

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

DAEMON = textwrap.dedent(
    """
    import json, sys, threading, time
    from pathlib import Path
    from monitor.notify.courier import Courier
    from monitor.notify.kinds import channels
    from monitor.setup.settings import load_settings
    from monitor.store.rows import Notice
    from monitor.store.sqlite.database import Database
    from monitor.store.sqlite.state import outbox

    clock = lambda: time.time_ns() // 1_000_000
    settings = load_settings(Path(sys.argv[1]), {})
    database = Database(settings.store.path)
    with database.transaction() as connection:
        notice = Notice("way-out", sys.argv[2], "raised", sys.argv[3])
        outbox.add(connection, [notice], clock())
    Courier(database, channels(settings, clock=clock), clock=clock).start()
    threading.Event().wait()
    """
)


def now_ms() -> int:
    """The system's clock."""
    return time.time_ns() // 1_000_000


class Run:
    """A daemon that is killed once it has failed to deliver, and another one after it."""

    def __init__(self, folder: Path, kind: str) -> None:
        self.config = folder / "dewkeep.toml"
        self.config.write_text(f'[[channel]]\nname = "way-out"\n{kind}')
        self.settings = load_settings(self.config, {})
        self.database = Database(self.settings.store.path)
        self.courier: Courier | None = None

    def kill_one(self) -> None:
        """Nothing is there to deliver to: the daemon dies with its notice still in line."""
        command = [sys.executable, "-c", DAEMON, str(self.config), KEY, json.dumps(DRY)]
        process = subprocess.Popen(command)
        try:
            eventually(self._tried, "a delivery that fails")
        finally:
            process.send_signal(signal.SIGKILL)
            process.wait()
        assert self._waiting() == 1

    def deliver(self) -> None:
        """The next daemon does."""
        made = channels(self.settings, clock=now_ms)
        self.courier = Courier(self.database, made, clock=now_ms, draw=min)
        self.courier.start()
        eventually(lambda: self._waiting() == 0, "the delivery")

    def close(self) -> None:
        """Stop it."""
        if self.courier is not None:
            self.courier.stop()
        self.database.close()

    def _waiting(self) -> int:
        return sum(row.waiting for row in self._stats())

    def _tried(self) -> bool:
        return any(row.last_error for row in self._stats())

    def _stats(self) -> list[outbox.Stats]:
        with self.database.reading() as connection:
            return outbox.stats(connection)


@pytest.fixture
def prepare(tmp_path: Path) -> Iterator[Callable[[str], Run]]:
    """Makes runs that are stopped after the test."""
    made: list[Run] = []

    def make(kind: str) -> Run:
        made.append(Run(tmp_path, kind))
        return made[-1]

    yield make
    for run in made:
        run.close()


def test_webhook(
    prepare: Callable[[str], Run], receiver: "Receiver", answer: "type[Answer]"
) -> None:
    """The receiver that failed the first gets it from the second, under the same key."""
    receiver.planned += [answer(503)] * 1000
    run = prepare(f'kind = "webhook"\nurl = "{receiver.url}"\nallow_private = true\n')
    run.kill_one()
    refused = len(receiver.received)
    receiver.planned.clear()
    run.deliver()

    assert len(receiver.received) > refused
    assert {request.headers["Idempotency-Key"] for request in receiver.received} == {KEY}
    assert len({request.body for request in receiver.received}) == 1


def test_mqtt(prepare: Callable[[str], Run], tmp_path: Path) -> None:
    """The broker was away, the daemon died, the broker came: the message is there, once."""
    broker = Mosquitto(tmp_path)
    run = prepare(
        f'kind = "mqtt"\ntopic = "alarms"\n[channel.broker]\nport = {broker.port}\n',
    )
    run.kill_one()
    broker.start()
    try:
        with Listener(broker.port, "alarms") as listener:
            run.deliver()
            eventually(lambda: listener.received, "the message")
    finally:
        broker.stop()

    (message,) = listener.received
    assert json.loads(message.payload)["idempotency_key"] == KEY


def test_email(prepare: Callable[[str], Run], tmp_path: Path) -> None:
    """The mail server was away, the daemon died, the server came: one mail, named by the key."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost").configure_cert(context)
    server = MailServer(context)
    run = prepare(
        f'kind = "email"\nhost = "localhost"\nport = {server.port}\nca_file = "ca.pem"\n'
        'sender = "dewkeep@shelf.example"\nto = ["keeper@example.org"]\n'
    )
    run.kill_one()
    server.start()
    try:
        run.deliver()
    finally:
        server.stop()

    (delivered,) = server.delivered
    name = hashlib.sha256(f"way-out/{KEY}".encode()).hexdigest()[:32]
    assert delivered.mail["Message-ID"] == f"<{name}@shelf.example>"


def test_push(
    prepare: Callable[[str], Run], receiver: "Receiver", answer: "type[Answer]", tmp_path: Path
) -> None:
    """The service failed, the daemon died: the next one sends the same text."""
    receiver.planned += [answer(503)] * 1000
    address = f"gotify://127.0.0.1:{receiver.port}/t0kent0kent0ken"
    (tmp_path / "push.secret").write_text(address)
    run = prepare('kind = "push"\nurl_file = "push.secret"\nallow_private = true\n')
    run.kill_one()
    refused = len(receiver.received)
    receiver.planned.clear()
    receiver.planned.append(answer(200))
    run.deliver()

    assert len(receiver.received) > refused
    assert {json.loads(request.body)["message"] for request in receiver.received} == {DRY["says"]}
