"""The webhook: one signed POST for each notice; docs/channels.md tells what a receiver gets."""

import ssl
from collections.abc import Callable
from datetime import UTC
from email.utils import parsedate_to_datetime
from urllib.parse import urlsplit

import urllib3
from urllib3.exceptions import ConnectTimeoutError, HTTPError, NewConnectionError

from monitor import __version__
from monitor.errors import DeliveryError
from monitor.notify.addresses import Resolver, refuse_private, resolve
from monitor.notify.signature import sign
from monitor.setup.channels import Webhook
from monitor.store.rows import Notice

TIMEOUT = urllib3.Timeout(connect=3.0, read=10.0)
LARGEST_ANSWER_BYTES = 2048
MOST_ADDRESSES = 3

WORTH_RETRYING = frozenset({408, 425, 429})
"""The only refusals (4xx) that may pass: timeout, too early, too many requests."""


class WebhookChannel:
    """Delivers to one address; ``clock`` gives epoch milliseconds UTC.

    Without a secret the requests carry no signature. Redirects are not followed and proxies of the
    environment are not used: both would lead past the check of the address.
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
        parts = urlsplit(settings.url)
        self._https = parts.scheme == "https"
        self._host = parts.hostname or ""
        self._port = parts.port or (443 if self._https else 80)
        self._authority = parts.netloc
        self._target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        # Path and query may hold a token: only this much of the address is ever told.
        self._told = f"{parts.scheme}://{parts.netloc}"
        self._allow_private = settings.allow_private
        self._secret = secret
        self._clock = clock
        self._resolver = resolver
        self._timeout = timeout
        self._tls = tls or (ssl.create_default_context() if self._https else None)

    def deliver(self, notice: Notice) -> None:
        """POST a notice; any 2xx means the receiver has it."""
        addresses = self._resolver(self._host, self._port)
        if not self._allow_private:
            refuse_private(self._host, addresses)
        failure: Exception | None = None
        for address in addresses[:MOST_ADDRESSES]:
            try:
                return self._post(address, notice)
            except (ConnectTimeoutError, NewConnectionError) as exc:
                failure = exc
            except HTTPError as exc:
                raise DeliveryError(f"{self._told}: no answer: {exc}") from exc
        raise DeliveryError(f"{self._told}: no connection: {failure}") from failure

    def _post(self, address: str, notice: Notice) -> None:
        body = notice.body.encode()
        with self._pool(address) as pool:
            answer = pool.urlopen(
                "POST",
                self._target,
                body=body,
                headers=self._headers(notice, body),
                retries=False,
                redirect=False,
                preload_content=False,
                decode_content=False,
            )
            try:
                self._judge(answer)
            finally:
                answer.close()

    def _pool(self, address: str) -> urllib3.HTTPConnectionPool:
        if not self._https:
            return urllib3.HTTPConnectionPool(address, self._port, timeout=self._timeout)
        return urllib3.HTTPSConnectionPool(
            address,
            self._port,
            timeout=self._timeout,
            ssl_context=self._tls,
            server_hostname=self._host,
            assert_hostname=self._host,
        )

    def _headers(self, notice: Notice, body: bytes) -> dict[str, str]:
        headers = {
            "Host": self._authority,
            "Content-Type": "application/json",
            "User-Agent": f"dewkeep/{__version__}",
            "Idempotency-Key": notice.idempotency_key,
        }
        if self._secret is not None:
            at_s = self._clock() // 1000
            headers["Dewkeep-Timestamp"] = str(at_s)
            headers["Dewkeep-Signature"] = sign(self._secret, at_s, body)
        return headers

    def _judge(self, answer: urllib3.BaseHTTPResponse) -> None:
        status = answer.status
        if 200 <= status < 300:
            return
        says = f"{self._told}: HTTP {status}"
        if 300 <= status < 400:
            raise DeliveryError(f"{says}: redirects are not followed; set its new url", retry=False)
        excerpt = answer.read1(LARGEST_ANSWER_BYTES).decode(errors="replace")
        words = " ".join("".join(c if c.isprintable() else " " for c in excerpt).split())
        raise DeliveryError(
            f"{says}: {words[:200]}" if words else says,
            retry=status >= 500 or status in WORTH_RETRYING,
            after_s=self._asked_s(answer.headers.get("Retry-After", "")),
        )

    def _asked_s(self, retry_after: str) -> float | None:
        """The pause a receiver asked for: seconds, or a date (RFC 9110, 10.2.3)."""
        if retry_after.isascii() and retry_after.isdigit():
            return float(retry_after)
        try:
            until = parsedate_to_datetime(retry_after)
        except ValueError:
            return None
        if until.tzinfo is None:
            until = until.replace(tzinfo=UTC)
        return max(0.0, until.timestamp() - self._clock() / 1000)
