"""Chapters come out as they went in."""

import struct
import zlib
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from monitor.errors import StoreError
from monitor.store.readings import Floats
from monitor.store.sqlite.codec import HEADER, Chapters, count_of, decode, encode

any_value = st.floats(width=64)  # NaN, infinities, -0.0 and subnormals among them
decimal = st.builds(
    lambda whole, power: whole / 10**power, st.integers(-(10**9), 10**9), st.integers(0, 7)
)


@st.composite
def chapters(draw: st.DrawFn) -> Chapters:
    """A few chapters of a few readings each, of values as sensors give them or of any at all."""
    count = draw(st.lists(st.integers(1, 20), min_size=0, max_size=6))
    offsets, values = [], []
    for size in count:
        times = st.integers(0, draw(st.sampled_from((30, 3_599_999, 2**32 - 1))))
        offsets += sorted(draw(st.sets(times, min_size=size, max_size=size)))
        values += draw(
            st.lists(draw(st.sampled_from((decimal, any_value))), min_size=size, max_size=size)
        )
    codes = st.sampled_from((st.just(0), st.integers(0, 255)))
    reason = draw(npst.arrays(np.uint8, len(values), elements=draw(codes)))
    return Chapters(
        np.array(count, np.int64), np.array(offsets, np.int64), np.array(values, np.float64), reason
    )


@given(chapters())
def test_whatever_goes_in_comes_out_bit_for_bit(given_chapters: Chapters) -> None:
    """Times, the very bits of every value, and reasons; many chapters at once or one by one."""
    blobs = encode(given_chapters)

    together = decode(blobs)
    single = [decode([blob]) for blob in blobs]

    assert together.count.tolist() == given_chapters.count.tolist()
    assert together.offset_ms.tolist() == given_chapters.offset_ms.tolist()
    assert together.value.tobytes() == given_chapters.value.tobytes()
    assert together.reason.tobytes() == given_chapters.reason.tobytes()
    assert b"".join(one.value.tobytes() for one in single) == together.value.tobytes()
    assert [count_of(blob) for blob in blobs] == given_chapters.count.tolist()


def by_the_book(blob: bytes) -> list[tuple[int, float, int]]:
    """The readings of a chapter, by docs/storage.md and the standard library alone."""
    body = zlib.decompress(blob)
    header = struct.Struct("<BbBBBIIIQ")
    version, scale, *planes, count, first_ms, gap_ms, first_value = header.unpack_from(body)
    assert version == 1
    columns, at = [], header.size
    for number in planes:
        columns.append(
            [
                int.from_bytes(body[at + n : at + number * count : count], "little")
                for n in range(count)
            ]
        )
        at += number * count
    readings = []
    offset, word = first_ms, first_value
    for n, (beyond, step, reason) in enumerate(zip(*columns, strict=True)):
        if n:
            offset += gap_ms + beyond
            word = word ^ step if scale < 0 else word + ((step >> 1) ^ -(step & 1))
        word &= 2**64 - 1
        packed = struct.pack("<Q", word)
        value = struct.unpack("<d", packed)[0]
        if scale >= 0:
            value = struct.unpack("<q", packed)[0] / 10**scale
        readings.append((offset, value, reason))
    return readings


@given(chapters())
def test_chapters_can_be_read_by_the_book(given_chapters: Chapters) -> None:
    """The page on storage tells enough to recover readings without a line of our code."""
    expected = zip(
        given_chapters.offset_ms.tolist(),
        given_chapters.value.tolist(),
        given_chapters.reason.tolist(),
        strict=True,
    )

    recovered = [reading for blob in encode(given_chapters) for reading in by_the_book(blob)]

    assert repr(recovered) == repr(list(expected))  # repr, since NaN does not equal itself


def test_minus_zero_is_kept() -> None:
    """Among values that would otherwise be packed as integers, which have no minus zero."""
    value = np.array([0.0, -0.0, 1.5])

    (blob,) = encode(hour(value))

    assert decode([blob]).value.tobytes() == value.tobytes()


def hour(value: Floats, jitter_ms: int = 0) -> Chapters:
    """An hour of readings every 30 s, give or take."""
    jitter = np.random.default_rng(1).integers(0, jitter_ms + 1, len(value))
    offset = np.arange(len(value)) * 30_000 + jitter
    return Chapters(np.array([len(value)]), offset, value, np.zeros(len(value), np.uint8))


def test_a_steady_sensor_takes_next_to_nothing() -> None:
    """An hour of one value at an even pace is smaller than three raw readings."""
    (blob,) = encode(hour(np.full(120, 24.31)))

    assert len(blob) < 60


def test_two_decimals_take_few_bytes() -> None:
    """Readings of two decimals with noise and jitter need less than 3 bytes each, not 16."""
    noise = np.random.default_rng(2).normal(0, 0.2, 120)

    (blob,) = encode(hour(np.round(65 + noise, 2), jitter_ms=40))

    assert len(blob) < 3 * 120


def test_long_fractions_are_kept_too() -> None:
    """Values that are no short decimal fall back to their bits, at less than 9 bytes each."""
    value = 65 + np.random.default_rng(3).normal(0, 0.2, 120)

    (blob,) = encode(hour(value))

    assert decode([blob]).value.tobytes() == value.tobytes()
    assert len(blob) < 9 * 120


@pytest.mark.parametrize(
    "damage",
    [
        lambda blob: blob[:0],
        lambda blob: blob[:-1],
        lambda blob: blob[:20] + bytes([blob[20] ^ 1]) + blob[21:],
        lambda blob: zlib.compress(b"\x63" + zlib.decompress(blob)[1:]),
        lambda blob: zlib.compress(zlib.decompress(blob)[:-1]),
        lambda blob: zlib.compress(zlib.decompress(blob)[:1] + bytes(HEADER.itemsize - 1)),
    ],
    ids=["empty", "cut", "flipped bit", "other version", "short", "no readings"],
)
def test_damage_is_noticed(damage: Callable[[bytes], bytes]) -> None:
    """A chapter that was cut, changed or written by something else is refused, not misread."""
    (blob,) = encode(hour(np.arange(120) / 10))

    with pytest.raises(StoreError, match="damaged"):
        decode([blob, damage(blob)])
