"""An SMTP server with TLS that remembers what it was given and answers as told."""

import ssl
from collections import deque
from dataclasses import dataclass
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from tests.support.servers import free_port

OK = "250 OK"


@dataclass(frozen=True)
class Delivered:
    """A mail that was taken: for whom, whether its sender had signed in, and what it says."""

    to: list[str]
    signed_in: bool
    mail: EmailMessage


class _Implicit(Controller):
    """Speaks TLS from the first byte."""

    def __init__(self, server: "MailServer", tls: ssl.SSLContext) -> None:
        super().__init__(server, hostname="127.0.0.1", port=server.port, ssl_context=tls)
        self._server = server

    def factory(self) -> SMTP:
        """What speaks on a connection."""
        return SMTP(self.handler, **self._server.login)


class _StartTls(Controller):
    """Speaks TLS when asked to, or not at all."""

    def __init__(self, server: "MailServer", tls: ssl.SSLContext | None) -> None:
        super().__init__(server, hostname="127.0.0.1", port=server.port)
        self._server = server
        self._tls = tls

    def factory(self) -> SMTP:
        """What speaks on a connection."""
        return SMTP(
            self.handler,
            tls_context=self._tls,
            require_starttls=self._tls is not None,
            **self._server.login,
        )


class MailServer:
    """A real SMTP server on a free local port.

    ``for_recipient`` holds answers by address, ``for_mail`` the answers to mails in turn; both say
    250 where nothing is planned.
    """

    def __init__(
        self,
        tls: ssl.SSLContext | None,
        *,
        implicit: bool = False,
        account: tuple[str, str] | None = None,
    ) -> None:
        self.delivered: list[Delivered] = []
        self.for_recipient: dict[str, str] = {}
        self.for_mail: deque[str] = deque()
        self.login: dict[str, Any] = {}
        if account is not None:
            self.login = {
                "authenticator": _only(*account),
                # Implicit TLS is not known to the protocol behind it.
                "auth_required": not implicit,
                "auth_require_tls": not implicit,
            }
        self.port = free_port()
        if implicit:
            assert tls is not None
            self._controller: Controller = _Implicit(self, tls)
        else:
            self._controller = _StartTls(self, tls)

    def start(self) -> "MailServer":
        """Start and wait until it accepts connections."""
        self._controller.start()
        return self

    def stop(self) -> None:
        """Stop."""
        self._controller.stop()

    async def handle_RCPT(  # noqa: N802 - what aiosmtpd calls
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: object
    ) -> str:
        """Take or refuse a recipient."""
        answer = self.for_recipient.get(address, OK)
        if answer == OK:
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(  # noqa: N802 - what aiosmtpd calls
        self, _server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        """Take or refuse a mail."""
        answer = self.for_mail.popleft() if self.for_mail else OK
        if answer == OK:
            assert isinstance(envelope.content, bytes)
            mail = message_from_bytes(envelope.content, policy=default)
            assert isinstance(mail, EmailMessage)
            self.delivered.append(Delivered(envelope.rcpt_tos, bool(session.authenticated), mail))
        return answer


def _only(name: str, password: str) -> object:
    def check(
        _server: SMTP, _session: Session, _envelope: Envelope, _mechanism: str, data: object
    ) -> AuthResult:
        given = data if isinstance(data, LoginPassword) else LoginPassword(b"", b"")
        right = (given.login, given.password) == (name.encode(), password.encode())
        return AuthResult(success=right, handled=False)

    return check
