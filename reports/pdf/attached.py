"""The files that a document carries, taken out of it within bounds: it may come from a stranger."""

import io
import zlib

import pikepdf

MOST_FILES = 8
MOST_BYTES = 4_000_000  # of one file, unpacked


class UnreadableAttachment(ValueError):
    """What is attached cannot be taken out."""


def attached_files(content: bytes) -> dict[str, bytes]:
    """The attached files by name. Raises UnreadableAttachment, or whatever a broken file makes pikepdf raise."""
    with pikepdf.open(io.BytesIO(content), attempt_recovery=False) as pdf:
        tree = pikepdf.NameTree(pdf.Root.Names.EmbeddedFiles)
        found = list(zip(range(MOST_FILES + 1), tree.items(), strict=False))
        if len(found) > MOST_FILES:
            raise UnreadableAttachment(f"more than {MOST_FILES} files are attached")
        return {str(name): _unpacked(described.EF.F) for _, (name, described) in found}


def _unpacked(stream: pikepdf.Object) -> bytes:
    """The stream's bytes; a small stream can stand for a great many."""
    raw = stream.read_raw_bytes()
    packing = stream.get("/Filter")
    if packing is None:
        if len(raw) > MOST_BYTES:
            raise UnreadableAttachment(f"an attached file has more than {MOST_BYTES} bytes")
        return raw
    if packing != pikepdf.Name.FlateDecode or "/DecodeParms" in stream:
        raise UnreadableAttachment("an attached file is packed in a way that is not ours")
    unpacker = zlib.decompressobj()
    plain = unpacker.decompress(raw, MOST_BYTES + 1)
    if len(plain) > MOST_BYTES:
        raise UnreadableAttachment(f"an attached file has more than {MOST_BYTES} bytes")
    return plain
