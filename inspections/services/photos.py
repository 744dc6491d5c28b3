"""Photos as pictures: each is decoded before it is taken, and what people are shown is decoded and written anew.

Kept are the bytes as they came, whose digest the histories and signatures hold. Shown is a copy of the pixels: without
what the camera wrote about place, time and person, and without anything that was hidden beside them.
"""

import struct
import zlib
from contextlib import suppress
from io import BytesIO
from typing import Any

from PIL import Image, ImageOps

from inspections.domain.photos import JPEG, MOST_PIXELS, PNG, media_type_of
from inspections.errors import PhotoNotTaken
from inspections.models.counts import PhotoBytes
from reels.domain import ledger

FORMATS = {JPEG: "JPEG", PNG: "PNG"}
QUALITY = 90  # of the copy, in libjpeg's measure; graduations of a scale are still sharp
# What Pillow raises for files that are broken, or made to break it.
UNREADABLE = (
    OSError, ValueError, SyntaxError, EOFError, ArithmeticError, LookupError, TypeError, MemoryError, struct.error,
    zlib.error, Image.DecompressionBombError, Image.DecompressionBombWarning,
)  # fmt: skip


def photo_columns(content: bytes) -> dict[str, Any]:
    """What is kept of a photo: its type, its bytes as they came, how many there are, and their digest.

    Raises PhotoNotTaken.
    """
    return {
        "media_type": require_photo(content), "content": content, "size_bytes": len(content),
        "digest": ledger.digest(content),
    }  # fmt: skip


def require_photo(content: bytes) -> str:
    """What a photo is, once all of it was decoded. Raises PhotoNotTaken for what is no photo, or too large for one."""
    media_type = media_type_of(content)
    # A JPEG is decoded at an eighth of its size, which reads all of the file and takes little memory.
    _decoded(content, media_type, draft=(1, 1))
    return media_type


def shown(photo: PhotoBytes) -> bytes:
    """The photo as people get it: a JPEG file of its pixels, turned as the camera was held. Raises PhotoNotTaken."""
    picture = _decoded(bytes(photo.content), photo.media_type)
    with suppress(*UNREADABLE):  # what the camera wrote is broken; the pixels are not
        picture = ImageOps.exif_transpose(picture)
    copy, file = picture.convert("RGB"), BytesIO()
    copy.info = {}  # or a comment would be written again
    copy.save(file, "JPEG", quality=QUALITY)
    return file.getvalue()


def _decoded(content: bytes, media_type: str, draft: tuple[int, int] | None = None) -> Image.Image:
    """The pixels. draft: the least size that will do, of a JPEG."""
    try:
        picture: Image.Image = Image.open(BytesIO(content), formats=[FORMATS[media_type]])
        _require_size(picture, media_type)
        if draft:
            picture.draft("RGB", draft)
        picture.load()
    except UNREADABLE as broken:
        raise PhotoNotTaken(seen="broken, or no picture", allowed="a JPEG or PNG file that is whole") from broken
    return picture


def _require_size(picture: Image.Image, media_type: str) -> None:
    """By its header, before anything is decoded."""
    pixels, most = picture.width * picture.height, MOST_PIXELS[media_type]
    if pixels > most:
        seen = f"{picture.width} by {picture.height} pixels large"
        raise PhotoNotTaken(seen=seen, allowed=f"up to {most // 1_000_000} million pixels")
