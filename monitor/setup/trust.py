"""Whose certificates are believed, and which one is shown."""

import ssl
from pathlib import Path

from monitor.errors import Problem, SettingsError


def trusting(
    ca_file: Path | None, cert_file: Path | None = None, key_file: Path | None = None
) -> ssl.SSLContext:
    """TLS that checks certificate and name, by the authorities in a file or those of the system.

    With ``cert_file`` and ``key_file`` it shows a certificate of its own to whoever asks for one.

    Raises:
        SettingsError: a file holds no certificates, or no key that belongs to them.
    """
    try:
        context = ssl.create_default_context(cafile=ca_file)
    except OSError as exc:
        raise SettingsError([Problem(str(ca_file), "", f"holds no certificates: {exc}")]) from exc
    if cert_file is not None:
        try:
            context.load_cert_chain(cert_file, key_file)
        except OSError as exc:
            says = f"holds no certificate that fits the key in {key_file}: {exc}"
            raise SettingsError([Problem(str(cert_file), "", says)]) from exc
    return context
