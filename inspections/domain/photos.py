"""Photos of what somebody keyed: which files are taken. A file is what its first bytes say, whatever it is called."""

from inspections.domain.words import Point
from inspections.errors import PhotoNotTaken

PHOTOGRAPHED = (Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.GAUGE, Point.CROSSOVER)
MOST_BYTES = 8 * 1024 * 1024
JPEG, PNG = "image/jpeg", "image/png"
# A JPEG file begins with its start-of-image marker and another marker; a PNG file with its signature and the header
# chunk. Sources: ITU-T T.81, B.1.1.3; W3C Portable Network Graphics, 5.2 and 11.2.1 (both from memory).
FIRST_BYTES = {JPEG: b"\xff\xd8\xff", PNG: b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"}
ENDINGS = {JPEG: "jpg", PNG: "png"}
# Pixels, so that a small file that unpacks to a huge picture takes no process down: decoded, these are 100 and 50 MB.
# Halved, some phones' full resolution would be refused.
MOST_PIXELS = {JPEG: 32_000_000, PNG: 16_000_000}


def media_type_of(content: bytes) -> str:
    """What a photo is, by its first bytes.

    content: the file as it came; it is kept so, with whatever else the camera wrote into it.
    Raises PhotoNotTaken for an empty or too large file, or one that is neither JPEG nor PNG.
    """
    if len(content) > MOST_BYTES:
        raise PhotoNotTaken(seen=f"{len(content) / 2**20:.1f} MB large", allowed=f"up to {MOST_BYTES // 2**20} MB")
    for media_type, first in FIRST_BYTES.items():
        if content.startswith(first):
            return media_type
    seen = "no JPEG or PNG file" if content else "empty"
    raise PhotoNotTaken(seen=seen, allowed="a JPEG or PNG file")
