"""The webhook, against a real HTTP server."""

import socket
import ssl
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest
import trustme
import urllib3

from monitor import __version__
from monitor.errors import DeliveryError
from monitor.notify.addresses import Resolver, resolve
from monitor.notify.signature import verify
from monitor.notify.target import TIMEOUT
from monitor.notify.webhook import WebhookChannel
from monitor.setup.channels import Webhook
from monitor.store.rows import Notice

if TYPE_CHECKING:
    from tests.notify.conftest import Answer, Receiver

SECRET = b"0123456789abcdef"
NOW_MS = 1_796_000_000_500
NOTICE = Notice(
    "phone", "cork-cube.canopy.humidity.low.1/raised", "raised", '{"says":"dry, 31 °C"}'
)


def hook(
    url: str,
    *,
    secret: bytes | None = SECRET,
    allow_private: bool = True,
    resolver: Resolver = resolve,
    tls: ssl.SSLContext | None = None,
    timeout: urllib3.Timeout = TIMEOUT,
) -> WebhookChannel:
    """A webhook on a clock that stands still."""
    settings = Webhook(name="phone", kind="webhook", url=url, allow_private=allow_private)
    return WebhookChannel(
        settings, secret, clock=lambda: NOW_MS, resolver=resolver, tls=tls, timeout=timeout
    )


def failure(channel: WebhookChannel) -> DeliveryError:
    """How a delivery fails."""
    with pytest.raises(DeliveryError) as caught:
        channel.deliver(NOTICE)
    return caught.value


def test_a_notice_is_posted_as_it_stands_and_signed(receiver: "Receiver") -> None:
    """A receiver gets the body byte for byte and can check who sent it."""
    hook(f"{receiver.url}/a%20b?to=me&x=1#part").deliver(NOTICE)

    ((target, headers, body),) = receiver.received
    assert target == "/hook/a%20b?to=me&x=1"
    assert body == NOTICE.body.encode()
    assert headers["Content-Type"] == "application/json"
    assert headers["User-Agent"] == f"dewkeep/{__version__}"
    assert headers["Idempotency-Key"] == NOTICE.idempotency_key
    assert headers["Dewkeep-Timestamp"] == "1796000000"
    assert verify(
        SECRET,
        headers["Dewkeep-Timestamp"],
        headers["Dewkeep-Signature"],
        body,
        now_s=NOW_MS // 1000 + 1,
    )


def test_without_a_secret_nothing_is_signed(receiver: "Receiver") -> None:
    """No signature is better than one that anybody could make."""
    hook(receiver.url, secret=None).deliver(NOTICE)

    assert not [name for name in receiver.received[0].headers if name.startswith("Dewkeep")]


@pytest.mark.parametrize("status", [200, 201, 202, 204])
def test_any_success_is_a_delivery(
    receiver: "Receiver", answer: "type[Answer]", status: int
) -> None:
    """2xx means the receiver has it; what it says beside is no matter."""
    receiver.planned.append(answer(status, body=b"" if status == 204 else b"x" * 100_000))

    hook(receiver.url).deliver(NOTICE)


@pytest.mark.parametrize(
    ("status", "retry"),
    [
        (301, False),
        (302, False),
        (307, False),
        (400, False),
        (401, False),
        (403, False),
        (404, False),
        (408, True),
        (410, False),
        (422, False),
        (425, True),
        (429, True),
        (500, True),
        (502, True),
        (503, True),
        (504, True),
    ],
)
def test_the_status_decides_whether_to_try_again(
    receiver: "Receiver", answer: "type[Answer]", status: int, retry: bool
) -> None:
    """What may pass is tried again, what will not pass is not."""
    receiver.planned.append(answer(status))

    error = failure(hook(receiver.url))

    assert error.retry is retry
    assert f"http://127.0.0.1:{receiver.port}: HTTP {status}" in str(error)


def test_a_redirect_is_not_followed(
    receivers: "Callable[[], Receiver]", answer: "type[Answer]"
) -> None:
    """Following it would lead past the check of the address."""
    asked, other = receivers(), receivers()
    asked.planned.append(answer(307, {"Location": other.url}))

    assert "redirects are not followed" in str(failure(hook(asked.url)))
    assert other.received == []


@pytest.mark.parametrize(
    ("retry_after", "pause_s"),
    [
        ("120", 120.0),
        ("0", 0.0),
        ("Mon, 30 Nov 2026 00:54:20 GMT", 59.5),
        ("Mon, 30 Nov 2026 00:53:00 GMT", 0.0),
        ("soon", None),
        ("-5", None),
        ("1.5", None),
        ("", None),
    ],
)
@pytest.mark.parametrize("status", [429, 503])
def test_retry_after_is_read(
    receiver: "Receiver",
    answer: "type[Answer]",
    status: int,
    retry_after: str,
    pause_s: float | None,
) -> None:
    """Seconds or a date (RFC 9110, 10.2.3); anything else is as if it were not there."""
    receiver.planned.append(answer(status, {"Retry-After": retry_after}))

    assert failure(hook(receiver.url)).after_s == pause_s


def test_the_receivers_words_are_told_in_brief(
    receiver: "Receiver", answer: "type[Answer]"
) -> None:
    """On one printable line, so that a keeper sees what is wrong and the log stays a log."""
    receiver.planned.append(
        answer(401, body=b'{"error":\r\n "bad\x1b[31m token"}\xff' + b"x" * 9999)
    )

    words = str(failure(hook(receiver.url))).partition(": HTTP 401: ")[2]

    assert words.startswith('{"error": "bad [31m token"}')
    assert len(words) <= 200
    assert words.isprintable()


def test_no_failure_tells_path_or_query(receiver: "Receiver", answer: "type[Answer]") -> None:
    """An address may hold a token: logs and health never show it."""
    secret_url = receiver.url.replace("/hook", "/t0ken?key=t0ken")
    receiver.planned += [answer(404), answer(500), answer(302, {"Location": secret_url})]
    failures = [failure(hook(secret_url)) for _ in range(3)]
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        failures.append(failure(hook(f"http://127.0.0.1:{unused.getsockname()[1]}/t0ken")))
    failures.append(failure(hook(secret_url, allow_private=False)))

    assert not [error for error in failures if "t0ken" in str(error)]


def test_a_receiver_that_is_away_is_tried_again() -> None:
    """A refused connection may be a receiver that restarts."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        error = failure(hook(f"http://127.0.0.1:{unused.getsockname()[1]}/"))

    assert error.retry
    assert "no connection" in str(error)


def test_a_receiver_that_does_not_answer_is_left(
    receiver: "Receiver", answer: "type[Answer]"
) -> None:
    """A hanging receiver costs its time limit, not for ever."""
    receiver.planned.append(answer(hangs=True))

    error = failure(hook(receiver.url, timeout=urllib3.Timeout(connect=3, read=0.05)))

    assert error.retry
    assert "no answer" in str(error)


def test_the_time_limits_are_those_documented() -> None:
    """3 s to connect, 10 s to answer."""
    assert (TIMEOUT.connect_timeout, TIMEOUT.read_timeout) == (3, 10)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "127.1", "[::ffff:127.0.0.1]"])
def test_private_addresses_are_refused_unless_allowed(receiver: "Receiver", host: str) -> None:
    """Not a byte goes to this machine or its network by mistake."""
    error = failure(hook(f"http://{host}:{receiver.port}/", allow_private=False))

    assert "no public address" in str(error)
    assert receiver.received == []


def test_the_connection_goes_to_the_address_that_was_checked(receiver: "Receiver") -> None:
    """The name is asked for once per delivery, and only the receiver is told it."""
    asked = []

    def resolver(host: str, port: int) -> list[str]:
        asked.append((host, port))
        return ["127.0.0.1"]

    hook(f"http://Hooks.invalid:{receiver.port}/", resolver=resolver).deliver(NOTICE)

    assert asked == [("hooks.invalid", receiver.port)]
    assert receiver.received[0].headers["Host"] == f"Hooks.invalid:{receiver.port}"


def test_a_second_address_is_tried_when_the_first_is_away(receiver: "Receiver") -> None:
    """A name with a dead IPv6 address still works by IPv4."""
    url = f"http://hooks.invalid:{receiver.port}/"

    hook(url, resolver=lambda *_: ["::1", "127.0.0.1"]).deliver(NOTICE)

    assert len(receiver.received) == 1


@pytest.fixture
def authority() -> trustme.CA:
    """A certificate authority for one test."""
    return trustme.CA()


@pytest.fixture
def trusting(authority: trustme.CA) -> ssl.SSLContext:
    """What a client that trusts it connects with."""
    context = ssl.create_default_context()
    authority.configure_trust(context)
    return context


@pytest.fixture
def named(receiver: "Receiver", authority: trustme.CA) -> list[str | None]:
    """Makes the receiver speak TLS as hooks.invalid; the names that clients ask for (SNI)."""
    names: list[str | None] = []
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("hooks.invalid").configure_cert(context)
    context.sni_callback = lambda _socket, name, _context: names.append(name)
    receiver.server.socket = context.wrap_socket(receiver.server.socket, server_side=True)
    return names


def test_https_proves_the_name_on_the_checked_address(
    receiver: "Receiver", named: list[str | None], trusting: ssl.SSLContext
) -> None:
    """The certificate and SNI are those of the name, though the connection is to the address."""
    url = f"https://hooks.invalid:{receiver.port}/hook"

    hook(url, resolver=lambda *_: ["127.0.0.1"], tls=trusting).deliver(NOTICE)

    assert named == ["hooks.invalid"]
    assert receiver.received[0].headers["Host"] == f"hooks.invalid:{receiver.port}"


@pytest.mark.usefixtures("named")
def test_https_refuses_a_certificate_of_another_name(
    receiver: "Receiver", trusting: ssl.SSLContext
) -> None:
    """A receiver with a valid certificate for something else gets nothing."""
    url = f"https://other.invalid:{receiver.port}/hook"

    error = failure(hook(url, resolver=lambda *_: ["127.0.0.1"], tls=trusting))

    assert error.retry
    assert receiver.received == []


@pytest.mark.usefixtures("named")
def test_https_refuses_an_authority_it_does_not_know(receiver: "Receiver") -> None:
    """Without being told otherwise, the system's authorities decide."""
    url = f"https://hooks.invalid:{receiver.port}/hook"

    assert "CERTIFICATE_VERIFY_FAILED" in str(failure(hook(url, resolver=lambda *_: ["127.0.0.1"])))
    assert receiver.received == []
