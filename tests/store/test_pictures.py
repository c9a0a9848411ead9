"""What anyone may send is made into a picture, or refused."""

import io
import struct
import zlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from monitor.errors import PictureError
from monitor.store.pictures import THUMBNAIL_PX, clean

GPS, ORIENTATION, MAKE = 0x8825, 0x0112, 0x010F
SECRET = b"<script>alert(1)</script>"


def written(image: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    """A picture as a file."""
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def halves(width: int = 80, height: int = 40) -> Image.Image:
    """Red on the left, blue on the right."""
    image = Image.new("RGB", (width, height), (200, 0, 0))
    image.paste((0, 0, 200), (width // 2, 0, width, height))
    return image


def cleaned(data: bytes, **limits: Any) -> Image.Image:
    """What is kept of a file."""
    picture = clean(data, **({"most_megapixels": 50, "longest_side_px": 2560} | limits))
    image = Image.open(io.BytesIO(picture.jpeg))
    image.load()
    assert image.size == (picture.width, picture.height)
    return image


def png_saying(width: int, height: int, rows: bytes) -> bytes:
    """A PNG whose head says one size, whatever follows."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_three_kinds_are_taken(kind: str) -> None:
    """Each becomes a JPEG that shows the same."""
    image = cleaned(written(halves(), kind))

    assert image.format == "JPEG"
    assert image.size == (80, 40)
    left, right = image.getpixel((10, 20)), image.getpixel((70, 20))
    assert isinstance(left, tuple)
    assert isinstance(right, tuple)
    assert left[0] > 150 > left[2]
    assert right[2] > 150 > right[0]


def test_nothing_beside_the_picture_is_kept() -> None:
    """Place, camera, comment, colour profile and thumbnail of the camera are gone."""
    exif = Image.Exif()
    exif[MAKE] = "Maker of cameras"
    exif.get_ifd(GPS)[1] = "N"
    exif.get_ifd(GPS)[2] = (38.0, 42.0, 50.0)
    source = written(halves(), exif=exif, comment=b"my street", icc_profile=b"x" * 200)
    assert Image.open(io.BytesIO(source)).getexif().get_ifd(GPS)
    assert b"my street" in source

    picture = clean(source, most_megapixels=50, longest_side_px=2560)

    for jpeg in (picture.jpeg, picture.thumbnail):
        image = Image.open(io.BytesIO(jpeg))
        assert dict(image.getexif()) == {}
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert b"my street" not in jpeg
        assert b"Maker" not in jpeg
        assert b"Exif" not in jpeg


def test_a_picture_stands_upright() -> None:
    """Turned as its metadata said, before that is gone: a camera on its side shows red on top."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6

    image = cleaned(written(halves(), exif=exif))

    assert image.size == (40, 80)
    top, bottom = image.getpixel((20, 10)), image.getpixel((20, 70))
    assert isinstance(top, tuple)
    assert isinstance(bottom, tuple)
    assert top[0] > 150
    assert bottom[2] > 150


def test_what_is_transparent_becomes_white() -> None:
    """A PNG with nothing on it is a white picture, not a black one."""
    image = cleaned(written(Image.new("RGBA", (10, 10), (0, 0, 0, 0)), "PNG"))

    assert min(image.getpixel((5, 5))) > 250  # type: ignore[arg-type]


def test_large_pictures_are_made_smaller() -> None:
    """No side is longer than wanted, the shape stays, the thumbnail is small."""
    picture = clean(written(halves(3000, 1000)), most_megapixels=50, longest_side_px=600)

    assert (picture.width, picture.height) == (600, 200)
    assert max(Image.open(io.BytesIO(picture.thumbnail)).size) == THUMBNAIL_PX


def test_what_hides_behind_a_picture_is_left_behind() -> None:
    """A file that is a picture and a page at once is only a picture afterwards."""
    polyglot = written(halves()) + SECRET
    in_comment = written(halves(), comment=SECRET)

    for source in (polyglot, in_comment):
        picture = clean(source, most_megapixels=50, longest_side_px=2560)
        assert b"script" not in picture.jpeg + picture.thumbnail


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not a picture",
        b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        b"GIF89a" + written(halves(), "GIF")[6:],
        written(halves(), "BMP"),
        written(halves(), "TIFF"),
        written(halves(), "PDF"),
        written(halves(400, 400))[:-600],
        written(halves(), "PNG")[:-40],
        b"\xff\xd8\xff" + SECRET,
        png_saying(100, 100, b"no zlib"),
    ],
    ids=[
        "nothing",
        "text",
        "svg",
        "gif",
        "bmp",
        "tiff",
        "pdf",
        "cut jpeg",
        "cut png",
        "head",
        "bad",
    ],
)
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    """Other kinds, cut ones and damaged ones, with a sentence that says what would be right."""
    with pytest.raises(PictureError, match="no JPEG, PNG or WebP picture, or it is damaged"):
        clean(data, most_megapixels=50, longest_side_px=2560)


@pytest.mark.parametrize(("width", "height"), [(12_000, 12_000), (60_000, 60_000), (4_000, 4_000)])
def test_a_bomb_is_refused_by_its_head(width: int, height: int) -> None:
    """A few bytes that would become gigabytes are never unpacked."""
    bomb = png_saying(width, height, zlib.compress(bytes(1_000_000)))

    with pytest.raises(PictureError, match=r"more than (12\.5|50) megapixels"):
        clean(bomb, most_megapixels=50, longest_side_px=2560)


def test_a_jpeg_may_be_larger_than_others() -> None:
    """It can be decoded at a fraction of its size; a PNG cannot."""
    large = halves(1_400, 1_000)

    assert clean(written(large), most_megapixels=2, longest_side_px=500).width == 500
    with pytest.raises(PictureError, match=r"more than 0\.5 megapixels"):
        clean(written(large, "PNG"), most_megapixels=2, longest_side_px=500)


@given(st.data())
def test_damage_of_any_kind_is_a_picture_or_refused(data: st.DataObject) -> None:
    """Nothing but PictureError comes out of a file with some bytes changed."""
    source = bytearray(written(halves(16, 16), data.draw(st.sampled_from(["JPEG", "PNG", "WEBP"]))))
    for _ in range(data.draw(st.integers(1, 8))):
        source[data.draw(st.integers(0, len(source) - 1))] = data.draw(st.integers(0, 255))

    try:
        picture = clean(bytes(source), most_megapixels=50, longest_side_px=2560)
    except PictureError:
        return
    assert picture.jpeg.startswith(b"\xff\xd8")
