"""One address on the web, and how to ask it for something without being led astray."""

import ssl
from collections.abc import Callable, Mapping
from datetime import UTC
from email.utils import parsedate_to_datetime
from urllib.parse import urlsplit

import urllib3
from urllib3.exceptions import ConnectTimeoutError, HTTPError, NewConnectionError

from monitor import __version__
from monitor.errors import DeliveryError
from monitor.notify.addresses import Resolver, refuse_private, resolve

TIMEOUT = urllib3.Timeout(connect=3.0, read=10.0)
LARGEST_ANSWER_BYTES = 2048
MOST_ADDRESSES = 3

WORTH_RETRYING = frozenset({408, 425, 429})
"""The only refusals (4xx) that may pass: timeout, too early, too many requests."""


class Target:
    """An http or https address; ``clock`` gives epoch milliseconds UTC.

    Redirects are not followed and proxies of the environment are not used: both would lead past
    the check of the address.
    """

    def __init__(
        self,
        url: str,
        *,
        allow_private: bool,
        clock: Callable[[], int],
        resolver: Resolver = resolve,
        tls: ssl.SSLContext | None = None,
        timeout: urllib3.Timeout = TIMEOUT,
    ) -> None:
        parts = urlsplit(url)
        self._https = parts.scheme == "https"
        self._host = parts.hostname or ""
        self._port = parts.port or (443 if self._https else 80)
        self._authority = parts.netloc
        self._path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        # Path and query may hold a token: only this much of the address is ever told.
        self._told = f"{parts.scheme}://{parts.netloc}"
        self._allow_private = allow_private
        self._clock = clock
        self._resolver = resolver
        self._timeout = timeout
        self._tls = tls or (ssl.create_default_context() if self._https else None)

    def ask(self, method: str, body: bytes = b"", headers: Mapping[str, str] | None = None) -> None:
        """Make a request; any 2xx is a success, and what the answer says is no matter.

        Raises:
            DeliveryError: there was no connection, no answer, or another one.
        """
        addresses = self._resolver(self._host, self._port)
        if not self._allow_private:
            refuse_private(self._host, addresses)
        failure: Exception | None = None
        for address in addresses[:MOST_ADDRESSES]:
            try:
                return self._ask_at(address, method, body, headers or {})
            except (ConnectTimeoutError, NewConnectionError) as exc:
                failure = exc
            except HTTPError as exc:
                raise DeliveryError(f"{self._told}: no answer: {exc}") from exc
        raise DeliveryError(f"{self._told}: no connection: {failure}") from failure

    def _ask_at(self, address: str, method: str, body: bytes, headers: Mapping[str, str]) -> None:
        own = {"Host": self._authority, "User-Agent": f"dewkeep/{__version__}"}
        with self._pool(address) as pool:
            answer = pool.urlopen(
                method,
                self._path,
                body=body or None,
                headers={**own, **headers},
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
