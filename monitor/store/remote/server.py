"""The way to a server: lines in through influxdb-client, questions over plain HTTP.

The client writes synchronously: returning without an exception means that the server answered 204.
Its own batching and retrying are not used, they drop what they cannot deliver.
"""

import logging
from collections.abc import Mapping
from http import HTTPStatus
from urllib.parse import urlencode

import urllib3

from monitor.errors import StoreUnavailable

log = logging.getLogger(__name__)

WRITE_TIMEOUT_S = 5.0
"""Short beside the watchdog of the ingest loop, which stands still meanwhile."""
READ_TIMEOUT_S = 30.0
TOO_OLD = "beyond retention policy"
FORM = "application/x-www-form-urlencoded"
SAYS = 300
"""So much of a server's complaint is passed on."""


class Server:
    """A server that takes line protocol at ``/api/v2/write``."""

    def __init__(self, url: str, *, org: str, bucket: str, token: str | None) -> None:
        # A quarter of a second and 45 MB, which nobody pays whose readings are in SQLite.
        from influxdb_client.client.influxdb_client import InfluxDBClient  # noqa: PLC0415
        from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415
        from influxdb_client.rest import ApiException  # noqa: PLC0415

        self._refused = ApiException
        self.url = url
        self._org, self._bucket = org, bucket
        self._client = InfluxDBClient(
            url=url, token=token or "", org=org, timeout=round(WRITE_TIMEOUT_S * 1000)
        )
        self._lines = self._client.write_api(write_options=SYNCHRONOUS)
        self._headers = {"Authorization": f"Token {token}"} if token else {}
        self._pool = urllib3.PoolManager(
            timeout=urllib3.Timeout(connect=WRITE_TIMEOUT_S, read=READ_TIMEOUT_S),
            retries=False,
            maxsize=8,
        )

    def write(self, lines: bytes) -> None:
        """Have lines kept (times in milliseconds).

        Raises:
            StoreUnavailable: the server did not say that it has accepted all of them.
        """
        try:
            self._lines.write(
                bucket=self._bucket,
                org=self._org,
                record=lines,
                write_precision="ms",  # type: ignore[arg-type] # as the constant is
            )
        except self._refused as exc:
            says = _text(exc.body)
            if exc.status in (400, 422) and TOO_OLD in says:
                # The rest of the batch was kept, and these will never be.
                log.warning(
                    "%s: readings older than its retention were dropped: %s", self.url, says
                )
                return
            raise StoreUnavailable(f"{self.url}: write answered {exc.status}: {says}") from exc
        except (urllib3.exceptions.HTTPError, OSError) as exc:
            raise StoreUnavailable(f"{self.url}: no answer to a write: {exc}") from exc

    def ask(self, path: str, fields: Mapping[str, str] | None = None) -> bytes:
        """The body of a successful answer to ``path``, asked with a form if there are fields.

        Raises:
            StoreUnavailable: there was none.
        """
        form = urlencode(fields) if fields else None
        headers = self._headers | ({"Content-Type": FORM} if form else {})
        try:
            answer = self._pool.request(
                "POST" if form else "GET", self.url + path, body=form, headers=headers
            )
        except (urllib3.exceptions.HTTPError, OSError) as exc:
            raise StoreUnavailable(f"{self.url}{path}: no answer: {exc}") from exc
        if answer.status != HTTPStatus.OK:
            says = _text(answer.data)
            raise StoreUnavailable(f"{self.url}{path}: answered {answer.status}: {says}")
        return answer.data

    def close(self) -> None:
        """Drop connections."""
        self._client.close()  # type: ignore[no-untyped-call]
        self._pool.clear()


def _text(body: bytes | str | None) -> str:
    text = body.decode(errors="replace") if isinstance(body, bytes) else body or ""
    return " ".join(text.split())[:SAYS]
