"""Chapters: the readings of one series and one hour, packed small without losing a bit.

A chapter is a header and a zlib stream of byte planes (all lowest bytes, then all second bytes...):

- times, as milliseconds between readings beyond the shortest such gap, so that a steady probe costs
  nothing;
- values, as steps of integers when every value is exactly an integer divided by 10^scale (a sensor
  speaks in a few decimals), else as the exclusive or of neighbouring float64 patterns;
- reasons, if any differs from 0.

Planes that would be all zero are left out; their numbers are in the header.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.errors import StoreError
from monitor.store.readings import Codes, Floats, Ints

Words = npt.NDArray[np.uint64]

VERSION = 1
MAX_SCALE = 6
PATTERN = -1
"""The scale of a chapter whose values are kept as float64 patterns."""

EXACT = 2.0**51
"""Integers below this survive the way through float64 and the zigzag of their differences."""

HEADER = np.dtype(
    [
        ("version", "u1"),
        ("scale", "i1"),
        ("time_planes", "u1"),
        ("value_planes", "u1"),
        ("reason_planes", "u1"),
        ("count", "<u4"),
        ("first_ms", "<u4"),
        ("gap_ms", "<u4"),
        ("first_value", "<u8"),
    ]
)


@dataclass(frozen=True, slots=True)
class Chapters:
    """The contents of several chapters, one after the other; ``count`` readings belong to each."""

    count: Ints
    offset_ms: Ints
    """Milliseconds since the start of the chapter's hour, ascending within a chapter."""
    value: Floats
    reason: Codes

    @property
    def first(self) -> Ints:
        """Where each chapter begins."""
        return np.cumsum(self.count) - self.count


def encode(chapters: Chapters) -> list[bytes]:
    """Pack chapters, none of which is empty; times must be below 2^32 ms and strictly ascend."""
    first, count = chapters.first, chapters.count
    if not len(count):
        return []
    gap, beyond = _gaps(chapters.offset_ms, first, count)
    scale, word = _words(chapters.value, first, count)
    step = _steps(word, np.repeat(scale != PATTERN, count))
    first_word = word[first]
    step[first] = 0

    head = np.zeros(len(count), HEADER)
    head["version"] = VERSION
    head["scale"] = scale
    head["time_planes"] = _planes_needed(np.maximum.reduceat(beyond, first))
    head["value_planes"] = _planes_needed(np.maximum.reduceat(step, first))
    head["reason_planes"] = np.maximum.reduceat(chapters.reason, first) > 0
    head["count"] = count
    head["first_ms"] = chapters.offset_ms[first]
    head["gap_ms"] = gap
    head["first_value"] = first_word

    times = _planes(beyond, int(head["time_planes"].max()))
    values = _planes(step, int(head["value_planes"].max()))
    reasons = [chapters.reason.tobytes()]
    blobs = []
    for start, size, header in zip(first.tolist(), count.tolist(), head, strict=True):
        planes = (
            times[: header["time_planes"]]
            + values[: header["value_planes"]]
            + reasons[: header["reason_planes"]]
        )
        columns = [plane[start : start + size] for plane in planes]
        # Level 1: on a few hundred bytes the higher levels gain next to nothing.
        blobs.append(zlib.compress(b"".join([header.tobytes(), *columns]), 1))
    return blobs


def decode(blobs: Sequence[bytes]) -> Chapters:
    """Unpack chapters.

    Raises:
        StoreError: one of them is damaged.
    """
    try:
        bodies = [zlib.decompress(blob) for blob in blobs]
    except zlib.error as exc:
        raise StoreError(f"damaged, {exc}") from exc
    if any(len(body) < HEADER.itemsize or body[0] != VERSION for body in bodies):
        raise StoreError("damaged, not in a format this dewkeep knows")
    head = np.frombuffer(b"".join([body[: HEADER.itemsize] for body in bodies]), HEADER)
    count = head["count"].astype(np.int64)
    planes = [head["time_planes"], head["value_planes"], head["reason_planes"]]
    if not count.all() or HEADER.itemsize * len(count) + int((sum(planes) * count).sum()) != sum(
        map(len, bodies)
    ):
        raise StoreError("damaged, its length is not what its header says")

    start = np.full(len(count), HEADER.itemsize, np.int64)
    words = []
    for number in planes:
        words.append(_from_planes(bodies, start, count, number))
        start += number * count
    beyond, step, reason = words
    if not len(count):
        return Chapters(
            count, beyond.view(np.int64), step.view(np.float64), reason.astype(np.uint8)
        )
    first = np.cumsum(count) - count
    gap = beyond + np.repeat(head["gap_ms"], count)
    gap[first] = head["first_ms"]
    step[first] = head["first_value"]
    return Chapters(
        count,
        _running(np.add, gap, first, count).view(np.int64),
        _values(step, head["scale"], first, count),
        reason.astype(np.uint8),
    )


def count_of(blob: bytes) -> int:
    """How many readings a chapter holds, without unpacking all of it."""
    header = zlib.decompressobj().decompress(blob, HEADER.itemsize)
    return int(np.frombuffer(header, HEADER)["count"][0])


def _gaps(offset_ms: Ints, first: Ints, count: Ints) -> tuple[Ints, Words]:
    """The shortest gap of each chapter, and by how much each gap exceeds it."""
    gaps = np.diff(offset_ms, prepend=0)
    gaps[first] = np.iinfo(np.int64).max
    shortest = np.minimum.reduceat(gaps, first)
    shortest[count == 1] = 0
    beyond = gaps - np.repeat(shortest, count)
    beyond[first] = 0
    return shortest, beyond.view(np.uint64)


def _words(value: Floats, first: Ints, count: Ints) -> tuple[npt.NDArray[np.int8], Words]:
    """The scale of each chapter and its values as 64-bit words: integers or float64 patterns."""
    pattern = value.view(np.int64)
    scale = np.full(len(first), PATTERN, np.int8)
    word = pattern.copy()
    for power in range(MAX_SCALE + 1):
        open_ = scale == PATTERN
        if not open_.any():
            break
        with np.errstate(over="ignore", invalid="ignore"):
            scaled = np.rint(value * 10.0**power)
            whole = scaled.astype(np.int64)
            back = whole / 10.0**power
        # Compared as patterns: -0.0 equals 0.0 but is not the same.
        exact = (np.abs(scaled) < EXACT) & (back.view(np.int64) == pattern)
        fits = open_ & np.logical_and.reduceat(exact, first)
        scale[fits] = power
        chosen = np.repeat(fits, count)
        word[chosen] = whole[chosen]
    return scale, word.view(np.uint64)


def _steps(word: Words, integral: npt.NDArray[np.bool_]) -> Words:
    """From each word to the next: zigzag difference of integers, exclusive or of patterns."""
    integers = word.view(np.int64)
    change = np.diff(integers, prepend=0)
    zigzag = (change << 1) ^ (change >> 63)
    flipped = integers ^ np.concatenate((integers[:1], integers[:-1]))
    return np.where(integral, zigzag, flipped).view(np.uint64)


def _values(step: Words, scale: npt.NDArray[np.int8], first: Ints, count: Ints) -> Floats:
    """Undo :func:`_steps` and :func:`_words`; the first word of a chapter stands in its place."""
    value = np.empty(len(step), np.float64)
    patterned = np.repeat(scale == PATTERN, count)
    if patterned.any():
        value[:] = _running(np.bitwise_xor, step, first, count).view(np.float64)
    if not patterned.all():
        change = (step >> np.uint64(1)) ^ (np.uint64(0) - (step & np.uint64(1)))
        change[first] = step[first]
        integer = _running(np.add, change, first, count).view(np.int64)
        decimal = integer / np.repeat(10.0 ** np.maximum(scale, 0), count)
        value = np.where(patterned, value, decimal)
    return value


def _running(operation: np.ufunc, word: Words, first: Ints, count: Ints) -> Words:
    """Accumulate within each chapter: over all at once, then what came before is taken out."""
    total: Words = operation.accumulate(word)
    before = np.concatenate((np.zeros(1, np.uint64), total[first[1:] - 1]))
    before = np.repeat(before, count)
    taken_out: Words = total - before if operation is np.add else total ^ before
    return taken_out


def _planes_needed(highest: Words) -> npt.NDArray[np.uint8]:
    limits = np.uint64(1) << np.arange(0, 64, 8, dtype=np.uint64)
    return np.searchsorted(limits, highest, side="right").astype(np.uint8)


def _planes(word: Words, number: int) -> list[bytes]:
    return [(word >> np.uint64(8 * n)).astype(np.uint8).tobytes() for n in range(number)]


def _from_planes(
    bodies: list[bytes], start: Ints, count: Ints, number: npt.NDArray[np.uint8]
) -> Words:
    """One column of all chapters, which takes ``number`` planes of each body from ``start`` on."""
    word = np.zeros(int(count.sum()), np.uint64)
    places = list(zip(bodies, start.tolist(), count.tolist(), number.tolist(), strict=True))
    for n in range(int(number.max(initial=0))):
        parts = [
            body[begin + n * size : begin + (n + 1) * size] if n < planes else bytes(size)
            for body, begin, size, planes in places
        ]
        plane = np.frombuffer(b"".join(parts), np.uint8)
        word |= plane.astype(np.uint64) << np.uint64(8 * n)
    return word
