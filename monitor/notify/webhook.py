"""The webhook: one signed POST for each notice; docs/channels.md tells what a receiver gets."""

import ssl
from collections.abc import Callable

import urllib3

from monitor.notify.addresses import Resolver, resolve
from monitor.notify.signature import sign
from monitor.notify.target import TIMEOUT, Target
from monitor.setup.channels import Webhook
from monitor.store.rows import Notice


class WebhookChannel:
    """Delivers to one address; ``clock`` gives epoch milliseconds UTC.

    Without a secret the requests carry no signature.
    """

    def __init__(
        self,
        settings: Webhook,
        secret: bytes | None,
        *,
        clock: Callable[[], int],
        resolver: Resolver = resolve,
        tls: ssl.SSLContext | None = None,
        timeout: urllib3.Timeout = TIMEOUT,
    ) -> None:
        self._secret = secret
        self._clock = clock
        self._target = Target(
            settings.url,
            allow_private=settings.allow_private,
            clock=clock,
            resolver=resolver,
            tls=tls,
            timeout=timeout,
        )

    def deliver(self, notice: Notice) -> None:
        """POST a notice; any 2xx means the receiver has it."""
        body = notice.body.encode()
        headers = {
            "Content-Type": "application/json",
            "Idempotency-Key": notice.idempotency_key,
        }
        if self._secret is not None:
            at_s = self._clock() // 1000
            headers["Dewkeep-Timestamp"] = str(at_s)
            headers["Dewkeep-Signature"] = sign(self._secret, at_s, body)
        self._target.ask("POST", body, headers)
