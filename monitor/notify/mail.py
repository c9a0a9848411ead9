"""E-mail: a short plain-text mail for each notice, through an SMTP server and never without TLS."""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from typing import TYPE_CHECKING

from monitor.errors import DeliveryError
from monitor.notify.text import text_of
from monitor.setup.channels import Email
from monitor.setup.trust import trusting
from monitor.store.rows import Notice

if TYPE_CHECKING:
    import smtplib

TIMEOUT_S = 10.0
"""For each step of the conversation."""
LOCKED_OUT_S = 300.0
"""A pause after a refused password: some servers lock out who tries too often."""
CAUTION = (
    "dewkeep is not a safety device: heat sources need a thermostat and a cut-out of their own."
)

HUNG_UP = (421, b"the server hung up")

Refusals = Mapping[str, tuple[int, bytes]]


class EmailChannel:
    """Hands mails to one SMTP server; ``clock`` gives epoch milliseconds UTC.

    A repeat of a notice has the same Message-ID, so that mail programs may drop it.
    """

    def __init__(
        self,
        settings: Email,
        password: str | None,
        *,
        clock: Callable[[], int],
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self._settings = settings
        self._password = password
        self._clock = clock
        self._timeout_s = timeout_s
        self._told = f"{settings.host}:{settings.port_used}"
        self._tls = trusting(settings.ca_file)
        self._have: dict[str, set[str]] = {}

    def deliver(self, notice: Notice) -> None:
        """Send a mail; those who have it already, after a partial refusal, do not get it again."""
        have = self._have.setdefault(notice.idempotency_key, set())
        waiting = [each for each in self._settings.to if each not in have]
        refused = self._send(self._mail(notice), waiting)
        have.update(each for each in waiting if each not in refused)
        if refused:
            retry = any(code < 500 for code, _ in refused.values())
            raise DeliveryError(f"{self._told}: refuses {_listed(refused)}", retry=retry)
        del self._have[notice.idempotency_key]

    def _send(self, mail: EmailMessage, to: Sequence[str]) -> Refusals:
        # Only who has such a channel pays for the import.
        import smtplib  # noqa: PLC0415

        try:
            server = self._connect()
            try:
                return server.send_message(mail, to_addrs=to)
            finally:
                _leave(server)
        except smtplib.SMTPRecipientsRefused as exc:
            # Some may have been accepted before the server hung up: they did not get it either.
            return {each: exc.recipients.get(each, HUNG_UP) for each in to}
        except smtplib.SMTPAuthenticationError as exc:
            says = f"{self._told}: refuses username or password: {_words(exc.smtp_error)}"
            raise DeliveryError(says, after_s=LOCKED_OUT_S) from exc
        except smtplib.SMTPResponseException as exc:
            says = f"{self._told}: SMTP {exc.smtp_code}: {_words(exc.smtp_error)}"
            raise DeliveryError(says, retry=exc.smtp_code < 500) from exc
        except (smtplib.SMTPException, OSError) as exc:
            raise DeliveryError(f"{self._told}: {exc}") from exc

    def _connect(self) -> "smtplib.SMTP":
        import smtplib  # noqa: PLC0415

        there = (self._settings.host, self._settings.port_used)
        if self._settings.security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                *there, timeout=self._timeout_s, context=self._tls
            )
        else:
            server = smtplib.SMTP(*there, timeout=self._timeout_s)
        try:
            if self._settings.security == "starttls":
                server.starttls(context=self._tls)
            if self._settings.username is not None:
                server.login(self._settings.username, self._password or "")
        except BaseException:
            server.close()
            raise
        return server

    def _mail(self, notice: Notice) -> EmailMessage:
        text = text_of(notice)
        name = hashlib.sha256(f"{notice.channel}/{notice.idempotency_key}".encode()).hexdigest()
        domain = self._settings.sender.rpartition("@")[2]
        mail = EmailMessage(policy=SMTP)
        mail["From"] = self._settings.sender
        mail["To"] = ", ".join(self._settings.to)
        mail["Subject"] = f"{text.title}: {text.says}".removesuffix(".")
        mail["Date"] = format_datetime(datetime.fromtimestamp(self._clock() // 1000, UTC))
        mail["Message-ID"] = f"<{name[:32]}@{domain}>"
        mail["Auto-Submitted"] = "auto-generated"
        paragraphs = [text.says, *text.more, CAUTION]
        mail.set_content("\n\n".join(paragraphs) + "\n")
        return mail


def _leave(server: "smtplib.SMTP") -> None:
    """Say goodbye; whatever becomes of it, the mail is taken or not by now."""
    import smtplib  # noqa: PLC0415

    try:
        server.quit()
    except (smtplib.SMTPException, OSError):
        server.close()


def _listed(refused: Refusals) -> str:
    return ", ".join(f"{who}: SMTP {code}: {_words(said)}" for who, (code, said) in refused.items())


def _words(said: bytes | str) -> str:
    text = said if isinstance(said, str) else said.decode(errors="replace")
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:200]
