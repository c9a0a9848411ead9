"""Whose certificates are believed."""

import ssl
from pathlib import Path

from monitor.errors import Problem, SettingsError


def trusting(ca_file: Path | None) -> ssl.SSLContext:
    """TLS that checks certificate and name, by the authorities in a file or those of the system.

    Raises:
        SettingsError: the file holds no certificates.
    """
    try:
        return ssl.create_default_context(cafile=ca_file)
    except OSError as exc:
        raise SettingsError([Problem(str(ca_file), "", f"holds no certificates: {exc}")]) from exc
