"""The signature of a webhook."""

from pathlib import Path

import pytest

from monitor.notify.signature import LARGEST_SKEW_S, hmac_sha256, sign, verify

SECRET = b"0123456789abcdef"
BODY = b'{"event":"raised"}'
NOW_S = 1_796_000_000


# RFC 4231, sections 4.2, 4.3 and 4.7: test cases 1, 2 and 6 (a key longer than the block).
@pytest.mark.parametrize(
    ("key", "data", "digest"),
    [
        (
            b"\x0b" * 20,
            b"Hi There",
            "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
        ),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (
            b"\xaa" * 131,
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        ),
    ],
)
def test_the_hmac_is_the_standard_one(key: bytes, data: bytes, digest: str) -> None:
    """A receiver can use any library's HMAC-SHA256."""
    assert hmac_sha256(key, data) == digest


def test_the_signed_text_is_time_stop_body() -> None:
    """What docs/channels.md tells a receiver to compute is what is sent."""
    assert sign(SECRET, NOW_S, BODY) == "v1=" + hmac_sha256(SECRET, b"1796000000." + BODY)


def test_a_signature_is_recognised_while_it_is_fresh() -> None:
    """Within five minutes either way: clocks differ."""
    signature = sign(SECRET, NOW_S, BODY)

    for skew_s in (-LARGEST_SKEW_S, 0, LARGEST_SKEW_S):
        assert verify(SECRET, str(NOW_S), signature, BODY, NOW_S + skew_s)
    for skew_s in (-LARGEST_SKEW_S - 1, LARGEST_SKEW_S + 1):
        assert not verify(SECRET, str(NOW_S), signature, BODY, NOW_S + skew_s)


@pytest.mark.parametrize(
    ("timestamp", "body", "secret"),
    [
        (str(NOW_S + 1), BODY, SECRET),
        (str(NOW_S), BODY + b" ", SECRET),
        (str(NOW_S), BODY, SECRET + b"0"),
        ("", BODY, SECRET),
        ("-1", BODY, SECRET),
        ("1e9", BODY, SECRET),
        ("²", BODY, SECRET),
        ("9" * 5000, BODY, SECRET),
    ],
)
def test_anything_changed_is_not_ours(timestamp: str, body: bytes, secret: bytes) -> None:
    """Another time, body or secret, or no time at all, is refused without an exception."""
    assert not verify(secret, timestamp, sign(SECRET, NOW_S, BODY), body, NOW_S)


@pytest.mark.parametrize("signature", ["", "v1=", "v0=00", "v1=" + "0" * 64, "v1=\u00fc"])
def test_other_signatures_are_refused(signature: str) -> None:
    """Empty, foreign or made-up signatures are not ours."""
    assert not verify(SECRET, str(NOW_S), signature, BODY, NOW_S)


def test_the_examples_in_the_documentation_are_right() -> None:
    """Who follows docs/channels.md comes to the same result; made with `openssl dgst -hmac`."""
    text = (Path(__file__).parents[2] / "docs" / "channels.md").read_text(encoding="utf-8")

    assert hmac_sha256(b"Jefe", b"what do ya want for nothing?") in text
    signature = "v1=cc80eb364accc4cb46ae04cf7a0f235c0c17f34f551ee30df9c51097d25277d7"
    assert signature in text
    assert verify(SECRET, "1796000000", signature, BODY, NOW_S)
