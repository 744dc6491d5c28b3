"""The smallest files that are photos, and others that only look like them. Made here."""

import struct
import zlib

# A picture of one grey pixel: JPEG, baseline.
JPEG_BYTES = bytes.fromhex(
    "ffd8ffe000104a46494600010100000100010000ffdb004300" + "01" * 64 + "ffc0000b080001000101011100"
    "ffc400140001000000000000000000000000000000ffc40014100100000000000000000000000000000000"
    "ffda0008010100003f00d2cfffd9"
)


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
