"""The smallest files that are photos, and others that only look like them. Made here."""

import struct
import zlib
from io import BytesIO
from typing import Any

from PIL import Image


def _written(image: Image.Image, kind: str, **options: Any) -> bytes:
    file = BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


JPEG_BYTES = _written(Image.new("L", (1, 1), 128), "JPEG")


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


PNG_BYTES = (
    b"\x89PNG\r\n\x1a\n"
    + _chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    + _chunk(b"IDAT", zlib.compress(b"\x00\x80"))
    + _chunk(b"IEND", b"")
)
HOSTILE = {
    "page": b"<!doctype html><script>alert(1)</script>",
    "picture in words": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "animation": b"GIF89a" + bytes(20),
    "program": b"MZ" + bytes(60),
    "document": b"%PDF-1.7\n",
    "signature alone": b"\x89PNG\r\n\x1a\n",
    "signature later": b"\x00" + JPEG_BYTES,
    "two bytes": b"\xff\xd8",
}


def picture(width: int = 64, height: int = 48, kind: str = "JPEG", **options: Any) -> bytes:
    """A picture whose left half is red and whose right half is blue. options: of how it is written."""
    image = Image.new("RGB", (width, height), (255, 0, 0))
    image.paste((0, 0, 255), (width // 2, 0, width, height))
    return _written(image, kind, **options)


def with_place_and_person(orientation: int = 1) -> bytes:
    """A JPEG as a camera writes it: with GPS, an owner, a time, a comment and a small picture of its own."""
    exif = Image.Exif()
    exif[0x0112], exif[0x013B], exif[0x0132] = orientation, "Tess Hollin", "2026:03:02 09:00:00"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 6.0, 30.0), 3: "E", 4: (1.0, 18.0, 0.0)})
    return picture(exif=exif, comment=b"taken at Kettle Point") + b"<script>alert(1)</script>"


def bomb(width: int = 30_000, height: int = 30_000) -> bytes:
    """A PNG of a few bytes that says how large it is, and would unpack to that."""
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes(64 * (1 + (width + 7) // 8)), 9)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", rows) + _chunk(b"IEND", b"")


def claiming(size: int) -> bytes:
    """A JPEG whose frame header says that it is so many pixels wide and high."""
    at = JPEG_BYTES.index(b"\xff\xc0") + 5
    return JPEG_BYTES[:at] + struct.pack(">HH", size, size) + JPEG_BYTES[at + 4 :]


WHOLE = picture()
# They begin as photos do.
BROKEN = {
    "half of one": WHOLE[: len(WHOLE) // 2],
    "three bytes of one": b"\xff\xd8\xff",
    "a page behind a signature": b"\xff\xd8\xff\xe0<html><script>alert(1)</script></html>",
    "a picture in words behind a signature": PNG_BYTES[:16] + HOSTILE["picture in words"],
    "a header alone": PNG_BYTES[:33],
    "rows that are no zlib": PNG_BYTES[:33] + _chunk(b"IDAT", b"not compressed") + _chunk(b"IEND", b""),
    "texts that unpack": PNG_BYTES[:33]
    + _chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(50_000_000), 9))
    + PNG_BYTES[33:],
}
TOO_LARGE = {"png": bomb(), "jpeg": claiming(60_000), "png just too large": bomb(4001, 4000)}
