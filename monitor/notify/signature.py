"""Signs what a webhook sends, so that its receiver knows who wrote it and when.

The signature is ``v1=HEX``: HMAC-SHA256 (RFC 2104, RFC 4231) with the shared secret over the time
of sending in epoch seconds, a full stop, and the body as sent.
"""

import hashlib
import hmac

VERSION = "v1"
LARGEST_SKEW_S = 300


def hmac_sha256(secret: bytes, message: bytes) -> str:
    """HMAC-SHA256, in lower-case hexadecimal."""
    return hmac.new(secret, message, hashlib.sha256).hexdigest()


def sign(secret: bytes, at_s: int, body: bytes) -> str:
    """The signature of a body sent at ``at_s``."""
    return f"{VERSION}={hmac_sha256(secret, b'%d.%s' % (at_s, body))}"


def verify(secret: bytes, timestamp: str, signature: str, body: bytes, now_s: int) -> bool:
    """What a receiver does with the two headers: is it ours, unchanged and of these minutes?"""
    if not (timestamp.isascii() and timestamp.isdigit() and len(timestamp) <= 12):
        return False
    at_s = int(timestamp)
    expected = sign(secret, at_s, body)
    genuine = hmac.compare_digest(expected.encode(), signature.encode())
    return genuine and abs(now_s - at_s) <= LARGEST_SKEW_S
