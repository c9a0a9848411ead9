"""The ways a notification can leave: one model for each kind of ``[[channel]]``."""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, SecretStr, StringConstraints, model_validator

from monitor.documents.problems import Route, faults, hint
from monitor.documents.schema import EXPECTS
from monitor.setup.account import Account, secret_of
from monitor.setup.address import Host, MqttServer, Port, WebAddress
from monitor.setup.models import Identifier, Model
from monitor.setup.priority import PriorityName, urgent_enough
from monitor.setup.quiet import QuietHours


class AnyChannel(Model):
    """What all channels have: a name, and what is told on them, and when."""

    name: Identifier
    """What the channel goes by."""
    from_priority: PriorityName = "warning"
    """The least urgent alarms that are sent: ``critical``, ``warning`` (and critical), ``advice``
    (all)."""
    quiet: QuietHours | None = None
    """Hours in which less urgent alarms wait."""
    most_per_hour: int = Field(default=12, ge=1, le=10_000)
    """Notifications within an hour before further alarms are summed up; critical ones always go."""
    escalate_after_min: float | None = Field(default=None, gt=0, le=1440)
    """Minutes after which an alarm that nobody acknowledged goes to the next channel."""
    escalate_to: Identifier | None = None
    """The name of that channel."""
    only_escalation: bool = False
    """Whether only what other channels escalate is sent."""
    tell_return: bool = False
    """Whether the end of an alarm that was told is told too."""

    @model_validator(mode="after")
    def _escalation_is_whole(self) -> Self:
        if self.escalate_to is not None and self.escalate_after_min is None:
            raise faults([(("escalate_after_min",), "is missing; escalate_to needs it")])
        if self.escalate_after_min is not None and self.escalate_to is None:
            raise faults([(("escalate_to",), "is missing; name the channel to go to")])
        if self.escalate_to == self.name:
            raise faults([(("escalate_to",), "is the channel itself; name another one")])
        return self

    def takes(self, priority: str) -> bool:
        """Whether alarms of a priority are for this channel."""
        return urgent_enough(priority, self.from_priority)

    def rests(self, priority: str, at_ms: int) -> bool:
        """Whether an alarm of a priority has to wait for the end of the quiet hours."""
        return self.quiet is not None and self.quiet.hold(priority, at_ms)


class Webhook(AnyChannel):
    """POSTs a signed JSON document to an address."""

    kind: Literal["webhook"]
    """Always ``webhook``."""
    url: WebAddress = Field(repr=False)
    """Where to POST, http or https; it may hold a token, so it is not shown."""
    secret_file: Path | None = None
    """File with the secret shared with the receiver; without it requests carry no signature."""
    allow_private: bool = False
    """Whether the address may lie in this machine or its own network."""


def _plain_topic(value: str) -> str:
    if not value or len(value.encode()) > 65_535:
        raise ValueError("must be 1 to 65535 bytes long")
    if re.search(r"[+#\0]", value) or value.startswith("$"):
        raise ValueError(f"{value!r} cannot be published on; write a topic without + # and $")
    return value


class Mqtt(AnyChannel):
    """Publishes the JSON document on a topic."""

    kind: Literal["mqtt"]
    """Always ``mqtt``."""
    topic: Annotated[str, AfterValidator(_plain_topic)]
    """The topic to publish on, with QoS 1."""
    broker: MqttServer | None = None
    """Another broker than the one that readings come from."""


MailAddress = Annotated[
    str,
    StringConstraints(
        pattern=r"^[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*$"
    ),
    Field(json_schema_extra={EXPECTS: "an e-mail address such as keeper@example.org"}),
]


class Email(AnyChannel, Account):
    """Sends a plain-text mail through an SMTP server, never without TLS."""

    kind: Literal["email"]
    """Always ``email``."""
    host: Host
    """Name or address of the SMTP server."""
    port: Port | None = None
    """Its TCP port; without it 587 for ``starttls`` and 465 for ``tls``."""
    security: Literal["starttls", "tls"] = "starttls"
    """Whether TLS begins after a greeting in the clear, or with the connection."""
    ca_file: Path | None = None
    """File with the certificates to trust (PEM); without it those of the system."""
    sender: MailAddress
    """The address mails come from."""
    to: tuple[MailAddress, ...] = Field(min_length=1)
    """Who gets them."""

    @property
    def port_used(self) -> int:
        """The port to connect to."""
        return self.port or (587 if self.security == "starttls" else 465)


class Push(AnyChannel):
    """Sends two lines to a push or chat service, by the extra ``dewkeep[push]``."""

    kind: Literal["push"]
    """Always ``push``."""
    url_file: Path | None = None
    """File with the address of the service, in apprise's notation; it holds a secret."""
    url: SecretStr | None = None
    """The same, from the environment only."""
    allow_private: bool = False
    """Whether a service of the keeper's own may lie in this machine or its own network."""

    @model_validator(mode="after")
    def _has_an_address(self) -> Self:
        if self.url is None and self.url_file is None:
            raise faults([(("url_file",), "is missing; write the address of the service in it")])
        return self

    def address(self) -> str:
        """The address of the service.

        Raises:
            SettingsError: the file that should hold it cannot be read.
        """
        return secret_of(self.url, self.url_file) or ""


Channel = Annotated[Webhook | Mqtt | Email | Push, Field(discriminator="kind")]
"""Any channel."""


def mistakes(channels: Sequence[AnyChannel]) -> Iterator[tuple[Route, str]]:
    """What does not fit together between channels."""
    names = [channel.name for channel in channels]
    reached = {channel.escalate_to for channel in channels}
    for number, channel in enumerate(channels):
        if channel.name in names[:number]:
            yield (number, "name"), f"two channels are named {channel.name!r}"
        if channel.escalate_to is not None and channel.escalate_to not in names:
            says = f"no channel is named {channel.escalate_to!r}{hint(channel.escalate_to, names)}"
            yield (number, "escalate_to"), says
        if channel.only_escalation and channel.name not in reached:
            says = "nothing would ever be sent: no other channel escalates to this one"
            yield (number, "only_escalation"), says
