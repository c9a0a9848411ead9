"""Bytes that are almost right: seeds of ours, cut, glued, repeated, nested, spoiled at random."""

import random
from collections.abc import Sequence

PIECES: tuple[bytes, ...] = (
    *(b"0", b"-1", b"1e999", b"-0.0", b"NaN", b"Infinity", b"1e-400", b"9" * 400, b"0x10", b"1_0"),
    *(b"true", b"null", b"[]", b"{}", b'""', b"[", b"]", b"{", b"}", b",", b":", b'"', b"'", b"="),
    *(b"\x00", b"\xff\xfe", b"\xed\xa0\x80", b"\\ud800", b"\\u0000", b"\r\n", b"\n", b"\t"),
    *(b"../../etc/passwd", b"<script>", b"%s%n{0}", b"'; DROP TABLE log; --", b"$(id)"),
    *(b"2026-02-30T25:61:61Z", b"2028-02-29T23:59:60Z", b"1e18", b"-62135596800", b"2147483648"),
)

LONGEST = 262_144
"""Repeating what was repeated grows fast; beyond this it shows nothing new."""


class Mutator:
    """Makes cases from seeds; the same number gives the same cases."""

    def __init__(self, seeds: Sequence[bytes], number: int) -> None:
        self._seeds = seeds
        self._chance = random.Random(number)  # noqa: S311 - no secret depends on it

    def case(self) -> bytes:
        """The next one."""
        data = self._chance.choice(self._seeds)
        for _ in range(self._chance.choice((1, 1, 2, 3, 8))):
            data = self._spoil(data)[:LONGEST]
        return data

    def _spoil(self, data: bytes) -> bytes:
        chance = self._chance
        at, to = sorted(chance.randrange(len(data) + 1) for _ in range(2))
        piece = chance.choice(PIECES)
        match chance.randrange(8):
            case 0:
                return data[:at] + data[to:]
            case 1:
                return data[:at] + piece + data[at:]
            case 2:
                return data[:at] + piece + data[to:]
            case 3:
                return data[:to] + data[at:to] * chance.choice((1, 2, 50)) + data[to:]
            case 4:
                other = chance.choice(self._seeds)
                return data[:at] + other[chance.randrange(len(other) + 1) :]
            case 5:
                return data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
            case 6:
                opening = chance.choice((b"[", b"{", b'{"a":', b"("))
                return data[:at] + opening * chance.choice((3, 2_000)) + data[at:]
            case _:
                return data[:at] + bytes(chance.randbytes(4)) + data[at:]
