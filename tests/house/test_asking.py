"""Asking a peer, against real servers that fail in every way there is."""

import json
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import trustme

from monitor.errors import PeerError
from monitor.house.asking import Question
from monitor.setup.peers import Peer
from tests.house.telling import told
from tests.support.answering import Answer, Answering, Request
from tests.support.servers import free_port

WORDS = told("keeper-2", "cork-cube")
BODY = WORDS.model_dump_json().encode()
TOKEN = "dewkeep_1_s3cret"
WITHIN_S = 0.4
LARGEST_BYTES = 200_000

Serve = Callable[..., Answering]


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Starts servers that answer as told, and closes them in the end."""
    started: list[Answering] = []

    def start(answer: Answer, tls: ssl.SSLContext | None = None) -> Answering:
        started.append(Answering(answer, tls))
        return started[-1]

    yield start
    for each in started:
        each.close()


@pytest.fixture
def token_file(tmp_path: Path) -> Path:
    """A file with a token."""
    path = tmp_path / "keeper-2.token"
    path.write_text(f"{TOKEN}\n")
    return path


def question(url: str, **more: object) -> Question:
    """What keeper-1 asks the peer it knows as keeper-2."""
    peer = Peer.model_validate({"name": "keeper-2", "url": url, **more})
    return Question(peer, "keeper-1", within_s=WITHIN_S, largest_bytes=LARGEST_BYTES)


def refusal(url: str, **more: object) -> str:
    """Why nothing could be learnt."""
    with pytest.raises(PeerError) as caught:
        question(url, **more).ask()
    return str(caught.value)


def test_it_is_asked_for_its_own_with_its_token(serve: Serve, token_file: Path) -> None:
    """One GET, never of the whole house: two daemons that ask each other go round in no circle."""
    peer = serve(lambda request: request.give(BODY))

    assert question(peer.url, token_file=token_file).ask() == WORDS
    ((path, headers),) = peer.asked
    assert path == "/api/v1/house/own"
    assert headers["Authorization"] == f"Bearer {TOKEN}"


def test_a_page_below_a_path_is_asked_there(serve: Serve) -> None:
    """Behind a proxy a daemon may have an address with a path; without a token none is sent."""
    peer = serve(lambda request: request.give(BODY))

    question(f"{peer.url}/two/").ask()
    ((path, headers),) = peer.asked
    assert path == "/two/api/v1/house/own"
    assert "Authorization" not in headers


def test_what_a_newer_daemon_tells_beyond_it_is_left_aside(serve: Serve) -> None:
    """Daemons are brought up to date one after the other."""
    newer = json.dumps(json.loads(BODY) | {"moon": "full"}).encode()
    peer = serve(lambda request: request.give(newer))

    assert question(peer.url).ask() == WORDS


def test_a_redirect_is_not_followed(serve: Serve, token_file: Path) -> None:
    """The token goes nowhere but to the address in the settings."""
    elsewhere = serve(lambda request: request.give(BODY))
    peer = serve(lambda request: request.give(b"", 302, Location=f"{elsewhere.url}/"))

    says = refusal(peer.url, token_file=token_file)
    assert says == "HTTP 302: redirects are not followed; set its new url"
    assert elsewhere.asked == []


def test_a_proxy_of_the_environment_is_not_used(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It would see the token."""
    proxy = serve(lambda request: request.give(b"", 502))
    peer = serve(lambda request: request.give(BODY))
    monkeypatch.setenv("HTTP_PROXY", proxy.url)
    monkeypatch.setenv("http_proxy", proxy.url)

    assert question(peer.url).ask() == WORDS
    assert proxy.asked == []


@pytest.mark.parametrize(
    ("status", "says"),
    [
        (401, "it does not take our token (HTTP 401); make one there with `dewkeep token new"),
        (403, "it does not take our token (HTTP 403)"),
        (404, "HTTP 404: nothing there knows of a house"),
        (429, "HTTP 429"),
        (500, "HTTP 500"),
        (503, "HTTP 503"),
        (204, "HTTP 204"),
    ],
)
def test_any_other_status_is_told(serve: Serve, status: int, says: str) -> None:
    """With what to do about it, where that is known."""
    peer = serve(lambda request: request.give(b"", status))

    assert refusal(peer.url).startswith(says)


def test_a_refused_token_is_known_as_such(serve: Serve) -> None:
    """So that it is not tried again and again, as one who guesses would."""
    peer = serve(lambda request: request.give(b"", 401))

    with pytest.raises(PeerError) as caught:
        question(peer.url).ask()
    assert caught.value.refused


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "its answer is no JSON"),
        (b"<html>a page</html>", "its answer is no JSON"),
        (b"\xff\xfe", "its answer is no JSON"),
        (b"[" * 100_000, "its answer is no JSON"),
        (b"[]", "its answer cannot be read (all of it: "),
        (b"{}", "its answer cannot be read (daemon: "),
        (
            BODY.replace(b'"%RH"', b"5"),
            "its answer cannot be read (places.0.probes.0.values.0.unit",
        ),
        (BODY.replace(b'"ok"', b'"moon"'), "its answer cannot be read (places.0."),
        (BODY.replace(b'"cork-cube"', b'"../setup"'), "its answer cannot be read ("),
        (BODY.replace(b"75.0", b"1e999"), "its answer cannot be read ("),
    ],
)
def test_garbage_is_told(serve: Serve, body: bytes, says: str) -> None:
    """What is wrong with it and where, in one line; nothing of it is taken."""
    peer = serve(lambda request: request.give(body))

    told_so = refusal(peer.url)
    assert told_so.startswith(says)
    assert "\n" not in told_so


def test_an_answer_without_end_is_cut(serve: Serve) -> None:
    """However long it goes on, only so much of it is ever taken."""

    def pour(request: Request) -> None:
        request.begin(None)
        while True:
            request.wfile.write(b"[" * 65_536)

    peer = serve(pour)

    assert refusal(peer.url) == "its answer is longer than 200,000 bytes"


def test_one_that_hangs_is_given_up(serve: Serve) -> None:
    """It takes the question and says nothing."""
    over = threading.Event()
    peer = serve(lambda _request: waiting(over))
    try:
        says = refusal(peer.url)
    finally:
        over.set()

    assert says == f"no answer within {WITHIN_S} s"


def test_one_that_drips_is_given_up(serve: Serve) -> None:
    """A byte now and then keeps a connection alive, but not our patience."""

    def drip(request: Request) -> None:
        request.begin(10_000)
        while True:  # until whoever asks has gone away
            request.wfile.write(b" ")
            time.sleep(WITHIN_S / 4)

    assert refusal(serve(drip).url) == f"no answer within {WITHIN_S} s"


def test_one_that_breaks_off_is_told(serve: Serve) -> None:
    """Half an answer is none."""

    def half(request: Request) -> None:
        request.begin(len(BODY))
        request.wfile.write(BODY[: len(BODY) // 2])

    assert refusal(serve(half).url) == "it broke off while answering"


def test_no_http_at_all_is_told(serve: Serve) -> None:
    """Some other server listens there."""

    def greet(request: Request) -> None:
        request.wfile.write(b"220 welcome\r\n")

    assert refusal(serve(greet).url) == "it broke off while answering"


def test_nobody_there_is_told() -> None:
    """In the system's words, without the names of Python's objects."""
    assert refusal(f"http://127.0.0.1:{free_port()}") == "no connection (connection refused)"


def test_an_unknown_name_is_told() -> None:
    """RFC 6761 keeps .invalid free of names for good."""
    assert refusal("http://keeper.invalid:8420") == "its name is not known in this network"


def test_somebody_else_is_not_believed(serve: Serve) -> None:
    """Addresses that were mixed up would name wrong owners, or count our own twice."""
    third = serve(lambda request: request.give(told("keeper-3", "x").model_dump_json().encode()))
    ourselves = serve(lambda request: request.give(told("keeper-1").model_dump_json().encode()))

    assert refusal(third.url) == "keeper-3 answers there; put its url right"
    assert refusal(ourselves.url) == "this daemon itself answers there; put its url right"


def test_a_certificate_must_be_trusted(serve: Serve, tmp_path: Path) -> None:
    """By the system, or by the authority that is named; the token is not sent before."""
    authority = trustme.CA()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    peer = serve(lambda request: request.give(BODY), context)

    assert refusal(peer.url).startswith("its certificate is not trusted (")
    assert peer.asked == []
    assert question(peer.url, ca_file=tmp_path / "ca.pem").ask() == WORDS


def test_the_token_is_in_no_message(serve: Serve, token_file: Path) -> None:
    """Whatever goes wrong."""
    for status in (302, 401, 500):
        peer = serve(lambda request, status=status: request.give(TOKEN.encode(), status))
        assert TOKEN not in refusal(peer.url, token_file=token_file)


def waiting(over: threading.Event) -> None:
    """Say nothing until the test is over."""
    over.wait()
