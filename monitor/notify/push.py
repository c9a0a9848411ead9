"""Push and chat services, through apprise: a few lines, no attachments, chosen services only."""

from typing import TYPE_CHECKING

from monitor.errors import DeliveryError, Problem, SettingsError
from monitor.notify.addresses import Resolver, refuse_private, resolve
from monitor.notify.text import text_of
from monitor.setup.channels import Push
from monitor.store.rows import Notice

if TYPE_CHECKING:
    from apprise import NotifyBase

CONNECT_WITHIN_S = 3.0
ANSWER_WITHIN_S = 10.0

SCHEMES = frozenset(
    """
    bark barks discord gchat gotify gotifys join line matrix matrixs mmost mmosts ntfy ntfys pbul
    pover prowl psafer psafers pushdeer pushdeers pushed pushy rocket rockets signal signals slack
    spush tgram threema twilio vonage webex zulip
    """.split()  # noqa: SIM905 - one to a line would be forty lines
)
"""Services that bring a message to people, by the scheme of their address.

Left out is whatever acts on this machine, sends to any address as it stands (json, form, xml), has
a kind of its own here (mail, MQTT), or steers devices.
"""

OWN_SERVERS = frozenset(
    """
    bark barks gotify gotifys matrix matrixs mmost mmosts ntfy ntfys pushdeer pushdeers rocket
    rockets signal signals zulip
    """.split()  # noqa: SIM905 - as above
)
"""Those whose address can name a server of the keeper's own."""


class PushChannel:
    """Sends to one service.

    Where its address names a server, that has to be a public one unless it is meant not to be. It
    is looked up before each delivery; apprise then looks it up for itself. A server that sends on
    to another one is not followed: that one nobody has judged.

    Raises:
        SettingsError: apprise is not installed, or the address is not one it may be given.
    """

    def __init__(
        self,
        settings: Push,
        address: str,
        *,
        answer_within_s: float = ANSWER_WITHIN_S,
        resolver: Resolver = resolve,
    ) -> None:
        self._service = _service(settings.name, address)
        self._guarded = None if settings.allow_private else _server(self._service, address)
        self._resolver = resolver
        if hasattr(self._service, "discovery"):
            # A Matrix server could name another one in its place.
            self._service.discovery = False
        self._service.socket_connect_timeout = CONNECT_WITHIN_S
        self._service.socket_read_timeout = answer_within_s

    def deliver(self, notice: Notice) -> None:
        """Send title and text; apprise says in the log why that failed, if it does."""
        if self._guarded is not None:
            refuse_private(self._guarded, self._resolver(self._guarded, 443))
        text = text_of(notice)
        body = "\n".join((text.says, *text.more))
        if not self._service.notify(body=body, title=text.title):
            raise DeliveryError("the service did not take it; the log holds what it said")


def _service(name: str, address: str) -> "NotifyBase":
    # Its plug-ins take a quarter of a second and 40 MB.
    try:
        from apprise import Apprise, AppriseAsset  # noqa: PLC0415
    except ImportError as exc:
        says = "needs the package apprise; install it with: pip install 'dewkeep[push]'"
        raise _refusal(name, says) from exc

    scheme = address.partition("://")[0].lower()
    if scheme not in SCHEMES:
        says = f"begins with none of {', '.join(f'{each}://' for each in sorted(SCHEMES))}"
        raise _refusal(name, says)
    asset = AppriseAsset(
        app_id="dewkeep",
        app_desc="dewkeep",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        image_path_mask=False,
        storage_mode="memory",
        http_redirects=False,
        secure_logging=True,
        plugin_paths=None,
    )
    service = Apprise.instantiate(address, asset=asset)
    if service is None:
        raise _refusal(name, f"is no usable {scheme}:// address; apprise's documentation has them")
    # Either could read files of this machine.
    if getattr(service, "template", None) or getattr(service, "attach", None):
        raise _refusal(name, "names a template or an attachment; leave it out")
    if not service.verify_certificate:
        raise _refusal(name, "turns the check of certificates off; leave verify out")
    if service.redirects:
        raise _refusal(name, "has redirects followed; leave redirect out")
    return service


def _server(service: "NotifyBase", address: str) -> str | None:
    """The server that an address names, if it names one."""
    scheme = address.partition("://")[0].lower()
    if scheme not in OWN_SERVERS:
        return None
    if scheme == "zulip":  # an organization, at the service's own domain or at any other
        return f"{service.organization}.{service.hostname}"  # type: ignore[attr-defined]
    host: str | None = service.host
    return host or None


def _refusal(name: str, says: str) -> SettingsError:
    return SettingsError([Problem("settings", f"channel[{name}].url_file", f"its address {says}")])
