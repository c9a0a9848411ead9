"""A picture from anyone made into one that is safe to keep and to show.

Only what can be seen is kept: the picture is decoded and written anew as a JPEG, upright, no larger
than wanted. Whatever else was in the file (place, time and camera in its metadata, an embedded
preview, a script behind its end) is not copied. Pure: bytes in, bytes out. Pillow takes time to
load: import this where a picture has come, not before.
"""

import io
import struct
import threading
import zlib
from typing import NamedTuple

from PIL import Image, ImageOps

from monitor.errors import PictureError

FORMATS = ("JPEG", "PNG", "WEBP")
OTHERS_SHARE = 0.25
"""PNG and WebP may have a quarter of a JPEG's pixels: a JPEG can be decoded at a fraction of its
size, while a WebP was seen to take 16 bytes for each pixel."""
THUMBNAIL_PX = 400
QUALITY = 85
WHITE = (255, 255, 255)

_TURN = threading.Lock()
"""One at a time: each takes memory many times the size of its file."""

_UNREADABLE = (
    *(OSError, SyntaxError, ValueError, TypeError, IndexError, KeyError, EOFError),
    *(OverflowError, ZeroDivisionError, AttributeError, struct.error, zlib.error),
)
"""What a decoder throws at a file that is not what it says."""


class Picture(NamedTuple):
    """A clean picture and its thumbnail, both JPEG."""

    jpeg: bytes
    thumbnail: bytes
    width: int
    height: int


def clean(data: bytes, *, most_megapixels: float, longest_side_px: int) -> Picture:
    """The picture in a JPEG, PNG or WebP file, written anew. Of moving ones the first frame.

    ``most_megapixels`` are those of a JPEG; see ``OTHERS_SHARE``.

    Raises:
        PictureError: it is none of these, damaged, or too large.
    """
    with _TURN:
        try:
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                most = most_megapixels * (1.0 if image.format == "JPEG" else OTHERS_SHARE)
                if image.width * image.height > most * 1e6:
                    raise _too_large(most)
                # Lets a large JPEG be decoded at a fraction of its size; others pay no heed.
                image.draft("RGB", (longest_side_px, longest_side_px))
                image.thumbnail((longest_side_px, longest_side_px), Image.Resampling.LANCZOS)
                shown = _flattened(ImageOps.exif_transpose(image))
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as exc:
            raise _too_large(most_megapixels) from exc
        except _UNREADABLE as exc:
            raise PictureError(
                "this is no JPEG, PNG or WebP picture, or it is damaged; send the photo as the "
                "camera made it"
            ) from exc
        width, height = shown.size
        jpeg = _written(shown)
        shown.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX), Image.Resampling.LANCZOS)
        return Picture(jpeg, _written(shown), width, height)


def _too_large(most: float) -> PictureError:
    return PictureError(
        f"the picture has more than {most:g} megapixels (photos.most_megapixels); make it smaller"
    )


def _flattened(image: Image.Image) -> Image.Image:
    """The picture alone, on white where it was transparent: a new one knows no metadata."""
    fresh = Image.new("RGB", image.size, WHITE)
    if image.has_transparency_data:
        seen = image.convert("RGBA")
        fresh.paste(seen, mask=seen.getchannel("A"))
    else:
        fresh.paste(image.convert("RGB"))
    return fresh


def _written(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
