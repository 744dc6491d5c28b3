"""Many documents at once, for whoever may see them: a ZIP file with a manifest, made as it is sent.

No more than a few documents are held at a time, and the same documents and time give the same bytes.
"""

import json
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import QuerySet
from django.db.models.functions import Length

from reports.models import ArchivedPdf

MANIFEST = "manifest.json"
CHUNK = 10  # documents held at a time
NAMES_CHUNK = 1000  # rows without their documents
MAX_PREDICTED = 2**31  # bytes: zipfile writes wider fields into larger files, whose size is not worked out here
Progress = Callable[[int], None]


def filter_documents(
    rows: QuerySet[ArchivedPdf], *, site: str = "", reel: str = "", since: datetime | None = None,
    until: datetime | None = None,
) -> QuerySet[ArchivedPdf]:  # fmt: skip
    """Those of the documents that are of a site, a reel, and of counts done in a time.

    site: a code; reel: a serial number; since and until: the count was done from then on, and before then.
    """
    conditions = {
        "inspection__reel__site__code": site, "inspection__reel__serial": reel, "inspection__done_at__gte": since,
        "inspection__done_at__lt": until,
    }  # fmt: skip
    return rows.filter(**{name: value for name, value in conditions.items() if value})


def stream_export(
    rows: QuerySet[ArchivedPdf], *, at: datetime, progress: Progress = lambda done: None
) -> Iterator[bytes]:
    """The documents as a ZIP file, piece by piece; the last file in it is the manifest with every digest.

    at: when it was asked for; the only time in the file besides those of the counts.
    progress: called with the number of documents done.
    """
    return stream_documents(rows.iterator(chunk_size=CHUNK), at=at, progress=progress)


def stream_documents(
    documents: Iterable[ArchivedPdf], *, at: datetime, progress: Progress = lambda done: None
) -> Iterator[bytes]:
    """`stream_export` of documents with their inspections and reels, in the order in which they come."""
    return _stream_zip(((row, bytes(row.content), len(row.content)) for row in documents), at=at, progress=progress)


@dataclass(frozen=True, slots=True)
class ExportSize:
    """How many documents an export has, and how many bytes; None where that can't be told before."""

    documents: int
    size: int | None


def export_size(rows: QuerySet[ArchivedPdf], *, at: datetime) -> ExportSize:
    """How large `stream_export` will be, so that whoever waits sees how far it is. One query; no document is read.

    A ZIP file of the same names with nothing in them is made; stored files add their own sizes to it and no more.
    """
    sizes: list[int] = []

    def without_content() -> Iterator[tuple[ArchivedPdf, bytes, int]]:
        for row in rows.defer("content").annotate(size=Length("content")).iterator(chunk_size=NAMES_CHUNK):
            sizes.append(row.size)
            yield row, b"", row.size

    whole = sum(map(len, _stream_zip(without_content(), at=at))) + sum(sizes)
    return ExportSize(len(sizes), whole if whole < MAX_PREDICTED else None)


def _stream_zip(
    documents: Iterable[tuple[ArchivedPdf, bytes, int]], *, at: datetime, progress: Progress = lambda done: None
) -> Iterator[bytes]:
    """documents: each row, what goes into the ZIP file, and the size that the manifest names."""
    sink, files = _Sink(), []
    # PDFs are compressed already, so they are stored as they are.
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_STORED) as archive:  # type: ignore[call-overload]  # it needs no close
        for row, content, size in documents:
            inspection = row.inspection
            serial = re.sub(r"[^A-Za-z0-9._-]", "_", inspection.reel.serial)
            name = f"{serial}/inspection-{inspection.pk}-{row.number}.pdf"
            archive.writestr(_member(name, inspection.done_at), content)
            files.append({
                "name": name, "digest": row.digest, "inspection": inspection.pk, "reel": inspection.reel.serial,
                "done_at": inspection.done_at.astimezone(UTC).isoformat(), "bytes": size,
            })  # fmt: skip
            progress(len(files))
            yield sink.take()
        manifest = {"made_at": at.astimezone(UTC).isoformat(), "digests": "SHA-256", "files": files}
        archive.writestr(_member(MANIFEST, at), json.dumps(manifest, indent=1, ensure_ascii=False).encode())
    yield sink.take()


def stream_folder(
    files: Iterable[tuple[str, Iterator[bytes]]], *, folder: str, at: datetime, progress: Progress = lambda done: None
) -> Iterator[bytes]:
    """Files, each read to its end before the next, as a ZIP file with one folder in it, piece by piece."""
    sink = _Sink()
    with zipfile.ZipFile(sink, "w") as archive:  # type: ignore[call-overload]  # as above
        for number, (name, pieces) in enumerate(files, start=1):
            member = _member(f"{folder}/{name}", at)
            member.compress_type = zipfile.ZIP_DEFLATED if name.endswith((".jsonl", ".json")) else zipfile.ZIP_STORED
            with archive.open(member, "w", force_zip64=True) as out:  # how long it gets is not known before
                for piece in pieces:
                    out.write(piece)
                    yield sink.take()
            progress(number)
    yield sink.take()


class _Sink:
    """Keeps what zipfile writes until it is taken. It can't seek, so that zipfile never goes back to what was sent."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []

    def write(self, content: bytes, /) -> int:
        self._pieces.append(bytes(content))
        return len(content)

    def flush(self) -> None:
        pass

    def take(self) -> bytes:
        taken, self._pieces = b"".join(self._pieces), []
        return taken


def _member(name: str, at: datetime) -> zipfile.ZipInfo:
    member = zipfile.ZipInfo(name, at.astimezone(UTC).timetuple()[:6])
    member.external_attr = 0o644 << 16  # the permissions, in the upper half
    return member
