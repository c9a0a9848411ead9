"""E-mail, against a real SMTP server with real certificates."""

import socket
import ssl
from collections.abc import Callable, Iterator
from email.utils import parsedate_to_datetime
from pathlib import Path

import pytest
import trustme

from monitor.errors import DeliveryError, SettingsError
from monitor.notify.mail import CAUTION, EmailChannel
from monitor.setup.channels import Email
from monitor.store.rows import Notice
from tests.notify.notices import DRY, KEY, notice
from tests.support.mail_server import MailServer

NOW_MS = 1_796_000_000_500
KEEPER, VET = "keeper@example.org", "vet@example.org"


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    """A certificate authority."""
    return trustme.CA()


@pytest.fixture
def ca_file(authority: trustme.CA, tmp_path: Path) -> Path:
    """Its certificate, to be trusted."""
    path = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(path))
    return path


def certificate(authority: trustme.CA, name: str = "localhost") -> ssl.SSLContext:
    """What a server proves its name with."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(name).configure_cert(context)
    return context


@pytest.fixture
def serve() -> Iterator[Callable[[MailServer], MailServer]]:
    """Starts servers; they are stopped after the test."""
    started: list[MailServer] = []

    def start(server: MailServer) -> MailServer:
        started.append(server.start())
        return server

    yield start
    for server in started:
        server.stop()


@pytest.fixture
def server(authority: trustme.CA, serve: Callable[[MailServer], MailServer]) -> MailServer:
    """A server with STARTTLS and nobody to sign in."""
    return serve(MailServer(certificate(authority)))


def mail(
    port: int,
    ca_file: Path | None,
    *,
    security: str = "starttls",
    username: str | None = None,
    password: str | None = None,
    to: tuple[str, ...] = (KEEPER,),
    timeout_s: float = 10.0,
) -> EmailChannel:
    """A channel to a server of this machine, on a clock that stands still."""
    settings = Email.model_validate(
        {
            "name": "mail",
            "kind": "email",
            "host": "localhost",
            "port": port,
            "security": security,
            "ca_file": ca_file,
            "username": username,
            "sender": "dewkeep@shelf.example",
            "to": to,
        }
    )
    return EmailChannel(settings, password, clock=lambda: NOW_MS, timeout_s=timeout_s)


def failure(channel: EmailChannel, told: Notice | None = None) -> DeliveryError:
    """How a delivery fails."""
    with pytest.raises(DeliveryError) as caught:
        channel.deliver(told or notice())
    return caught.value


def test_a_notice_becomes_a_mail(server: MailServer, ca_file: Path) -> None:
    """Plain text, with the whole matter in the subject."""
    url = "https://dewkeep.example/acknowledge/a/1.2.3"
    mail(server.port, ca_file, to=(KEEPER, VET)).deliver(
        notice(priority="critical", enclosure_name="Käfig 3", acknowledge_url=url)
    )

    (delivered,) = server.delivered
    assert delivered.to == [KEEPER, VET]
    headers = delivered.mail
    assert headers["Subject"] == (
        "Critical - Käfig 3: Humidity in the canopy is 38.2 %, below 60 % since 02:10"
    )
    assert headers["From"] == "dewkeep@shelf.example"
    assert headers["To"] == f"{KEEPER}, {VET}"
    assert headers["Auto-Submitted"] == "auto-generated"
    assert parsedate_to_datetime(headers["Date"]).timestamp() == NOW_MS // 1000
    assert headers.get_content_type() == "text/plain"
    assert headers.get_content().splitlines() == [
        str(DRY["says"]),
        "",
        f"Acknowledge: {url}",
        "",
        CAUTION,
    ]


def test_a_repeat_has_the_same_message_id(server: MailServer, ca_file: Path) -> None:
    """Also from another run; another notice, or another channel, has another."""
    mail(server.port, ca_file).deliver(notice())
    mail(server.port, ca_file).deliver(notice())
    mail(server.port, ca_file).deliver(notice("other/raised"))
    mail(server.port, ca_file).deliver(notice(channel="other"))

    first, second, *others = [str(each.mail["Message-ID"]) for each in server.delivered]
    assert first == second
    assert len({first, *others}) == 3
    assert first.endswith("@shelf.example>")


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_signing_in(
    authority: trustme.CA,
    ca_file: Path,
    serve: Callable[[MailServer], MailServer],
    security: str,
) -> None:
    """By either way to TLS; a wrong password is tried again, but not soon."""
    account = ("dewkeep", "h0rse")
    server = serve(MailServer(certificate(authority), implicit=security == "tls", account=account))
    mail(server.port, ca_file, security=security, username="dewkeep", password="h0rse").deliver(
        notice()
    )
    refused = failure(
        mail(server.port, ca_file, security=security, username="dewkeep", password="wr0ng")
    )

    (delivered,) = server.delivered
    assert delivered.signed_in
    assert refused.retry
    assert refused.after_s == 300
    assert "refuses username or password" in str(refused)
    assert "wr0ng" not in str(refused)


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_of_another_name_is_refused(
    authority: trustme.CA,
    ca_file: Path,
    serve: Callable[[MailServer], MailServer],
    security: str,
) -> None:
    """A server that cannot prove its name gets neither password nor mail."""
    tls = certificate(authority, "other.example")
    server = serve(MailServer(tls, implicit=security == "tls"))

    error = failure(mail(server.port, ca_file, security=security))

    assert error.retry
    assert "CERTIFICATE_VERIFY_FAILED" in str(error)
    assert server.delivered == []


def test_an_authority_that_is_not_known_is_refused(server: MailServer) -> None:
    """Without being told otherwise, the system's authorities decide."""
    assert "CERTIFICATE_VERIFY_FAILED" in str(failure(mail(server.port, None)))
    assert server.delivered == []


def test_nothing_is_sent_in_the_clear(
    ca_file: Path, serve: Callable[[MailServer], MailServer]
) -> None:
    """A server, or someone in between, that does not offer STARTTLS gets nothing."""
    server = serve(MailServer(None))

    error = failure(mail(server.port, ca_file))

    assert error.retry
    assert "STARTTLS" in str(error)
    assert server.delivered == []


@pytest.mark.parametrize(
    ("answer", "retry"),
    [("451 try again later", True), ("452 no space", True), ("554 no such thing", False)],
)
def test_the_answer_decides_whether_to_try_again(
    server: MailServer, ca_file: Path, answer: str, retry: bool
) -> None:
    """4xx may pass, 5xx will not (RFC 5321, 4.2.1); the server's words are told."""
    server.for_mail.append(answer)

    error = failure(mail(server.port, ca_file))

    assert error.retry is retry
    assert f"localhost:{server.port}: SMTP {answer[:3]}: {answer[4:]}" in str(error)


@pytest.mark.parametrize(("answer", "retry"), [("450 greylisted", True), ("550 unknown", False)])
def test_a_recipient_may_be_refused(
    server: MailServer, ca_file: Path, answer: str, retry: bool
) -> None:
    """For now or for good."""
    server.for_recipient[KEEPER] = answer

    error = failure(mail(server.port, ca_file))

    assert error.retry is retry
    assert f"refuses {KEEPER}: SMTP {answer[:3]}" in str(error)


def test_who_has_it_already_does_not_get_it_again(server: MailServer, ca_file: Path) -> None:
    """Only those who were put off are tried again; then the next notice goes to all."""
    channel = mail(server.port, ca_file, to=(KEEPER, VET))
    server.for_recipient[VET] = "450 greylisted"

    assert failure(channel).retry
    del server.for_recipient[VET]
    channel.deliver(notice())
    channel.deliver(notice("other/raised"))

    assert [each.to for each in server.delivered] == [[KEEPER], [VET], [KEEPER, VET]]
    assert len({str(each.mail["Message-ID"]) for each in server.delivered[:2]}) == 1


def test_nobody_has_it_when_the_server_hangs_up(server: MailServer, ca_file: Path) -> None:
    """421 in the middle of the recipients: those accepted before it are tried again too."""
    channel = mail(server.port, ca_file, to=(KEEPER, VET))
    server.for_recipient[VET] = "421 closing down"

    assert failure(channel).retry
    assert server.delivered == []
    del server.for_recipient[VET]
    channel.deliver(notice())
    assert [each.to for each in server.delivered] == [[KEEPER, VET]]


def test_a_server_that_is_away_is_tried_again(ca_file: Path) -> None:
    """A refused connection may be a server that restarts."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        error = failure(mail(unused.getsockname()[1], ca_file))

    assert error.retry


def test_a_server_that_does_not_answer_is_left(ca_file: Path) -> None:
    """A mute server costs its time limit, not for ever."""
    with socket.create_server(("127.0.0.1", 0)) as mute:
        error = failure(mail(mute.getsockname()[1], ca_file, timeout_s=0.1))

    assert error.retry
    assert "timed out" in str(error)


def test_a_file_without_certificates_is_told(tmp_path: Path) -> None:
    """At the start, not in the night."""
    path = tmp_path / "ca.pem"
    path.write_text("nothing")

    with pytest.raises(SettingsError, match=r"ca\.pem: holds no certificates"):
        mail(1, path)


def test_the_subject_holds_no_second_header(server: MailServer, ca_file: Path) -> None:
    """Whatever is in a name."""
    told = notice(enclosure_name="x\r\nBcc: thief@example.org", key=KEY)
    mail(server.port, ca_file).deliver(told)

    (delivered,) = server.delivered
    assert delivered.to == [KEEPER]
    assert delivered.mail["Bcc"] is None
