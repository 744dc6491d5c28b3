"""Many documents as one ZIP file, made as it is sent: no more than a few documents are held at a time."""

import io
import json
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime

MANIFEST = "manifest.json"
PLAIN_UP_TO = 2**31  # bytes of a ZIP file without the wider fields of a large one


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleMember:
    """A document that goes into a bundle. digest: SHA-256 of the content; size: how many bytes it has."""

    name: str
    digest: str
    inspection: int
    reel: str
    done_at: datetime
    size: int
    content: bytes


class _Sink(io.RawIOBase):
    """Takes what zipfile writes, and gives it away."""

    def __init__(self) -> None:
        super().__init__()
        self._held: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, content: "bytes | bytearray | memoryview[int]") -> int:  # type: ignore[override]
        self._held.append(bytes(content))
        return len(content)

    def taken(self) -> bytes:
        held, self._held = b"".join(self._held), []
        return held


def zipped(documents: Iterable[BundleMember], *, at: datetime) -> Iterator[bytes]:
    """The bytes of the ZIP file, piece by piece; the last file in it is the manifest with every digest.

    at: when it was asked for; the only time in the file besides those of the counts. The same input, the same bytes.
    """
    sink, lines = _Sink(), []
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_STORED) as archive:  # PDFs are packed already
        for each in documents:
            archive.writestr(_member(each.name, each.done_at), each.content)
            told = {k: v for k, v in asdict(each).items() if k not in ("content", "size")}
            lines.append({**told, "done_at": each.done_at.astimezone(UTC).isoformat(), "bytes": each.size})
            yield sink.taken()
        manifest = {"made_at": at.astimezone(UTC).isoformat(), "digests": "SHA-256", "files": lines}
        archive.writestr(_member(MANIFEST, at), json.dumps(manifest, indent=1, ensure_ascii=False).encode())
    yield sink.taken()


def zipped_size(documents: Iterable[BundleMember], *, at: datetime) -> int | None:
    """How many bytes `zipped` gives, or None where that can't be told; told from the documents without their contents.

    documents: each with an empty content and its true size.
    """
    sizes: list[int] = []

    def empty() -> Iterator[BundleMember]:
        for each in documents:
            sizes.append(each.size)
            yield each

    around = sum(map(len, zipped(empty(), at=at)))
    whole = around + sum(sizes)
    return whole if whole < PLAIN_UP_TO else None


def _member(name: str, at: datetime) -> zipfile.ZipInfo:
    made = zipfile.ZipInfo(name, at.astimezone(UTC).timetuple()[:6])
    made.external_attr = 0o644 << 16
    return made
