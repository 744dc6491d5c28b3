"""Everything that an outsider needs to check records without this service, file by file.

The layout is in deploy/handbook/records.md, and deploy/handbook/check_records.py checks it. All is as of one
checkpoint: what came later is left out, so that the same checkpoint gives the same bytes. What is still blind is left
out, too. Of practice, which is no record, only the end of its history is shown, so that all histories can be counted.
"""

import base64
import hashlib
import json
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import QuerySet

from inspections.domain.photos import ENDINGS
from inspections.models import FindingPhoto, InspectionRecord, Photo, SignOff
from inspections.models.counts import PhotoBytes
from inspections.services.practice import PRACTICE
from reels import access
from reels.domain import checkpoint, ledger, sparse_merkle
from reels.models import Chain, CheckpointMade, HistoryEntry
from reels.queries import in_pages
from reels.services import checkpoints
from reels.services.checkpoint_key import known_keys
from reels.services.witnesses import countersigned_by
from reports.models import ArchivedPdf

FORM = 1
AT_ONCE = 200  # entries or chains held at a time
FEW = 10  # documents or photos
HANDBOOK = Path(__file__).resolve().parents[2] / "deploy" / "handbook"
CHECKER = "check_records.py"
EvidenceFile = tuple[str, Iterator[bytes]]  # where in the folder, and what is in it, piece by piece

README = """What this folder is
===================

Records of cable reels, written out by {service} as they stood on {made} (UTC), for somebody who
wants to check them without asking that service anything. Nothing in here has to be believed.

How to check it
---------------

1. Get the public key of the service from its administrator, by another way than this folder: on
   paper, or by telephone. It is 64 digits and letters. keys.txt has what the service says its keys
   are; whoever made up this folder would have made up that file, too.
2. Get check_records.py from where you trust it. The one in this folder is a copy for reading.
   It needs Python 3.11 or later and the package "cryptography".
3. Run, with the key in place of KEY:

       python check_records.py all FOLDER KEY

   If you kept a checkpoint of this service from earlier, name its file too; then it is also
   checked that nothing of before was changed, removed or put in since:

       python check_records.py all FOLDER KEY EARLIER.txt

It prints a line for each signed count that says whether it stands, has lapsed, is superseded or was
voided, one for each pair of setup values, and a line beginning with BROKEN for each thing that is
not as it must be. At the end it says how many histories the service had, and how many are here.

What is in it
-------------

    checkpoint.txt   what the service signed: how much it had recorded, in two numbers that can't be made up
    since.txt        an earlier checkpoint, if one was asked for; consistency.json shows that it was only added to
    countersignatures/  what witnesses signed of these two, each with a key that only they have: ask them for it
    keys.txt         the public keys, as the service says
    evidence.json    the form of this folder, and whether all histories are in it
    histories/       each act, in the bytes that were stored; the register is about people and what they may do
    ends/            of each history, that there was no more of it
    records/         what was signed, and what each of the two stated
    documents/       the sealed PDF files
    photos/          as they came from the camera, with whatever that wrote into them, such as the place

What can't be found out: an act that was never recorded, and a service that lied from the first day.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceAsked:
    """What goes into a folder. chains: ids, in the order in which they are written; texts: files of a few lines."""

    entries: int
    chains: list[int]
    is_whole: bool
    texts: dict[str, str]


@dataclass(slots=True)
class NamedInHistory:
    """What the entries of a history name, by id, as it is read."""

    signed: list[int] = field(default_factory=list)
    signatures: set[int] = field(default_factory=set)
    documents: list[int] = field(default_factory=list)
    photos: dict[int, int] = field(default_factory=dict)  # by what each shows
    finding_photos: dict[int, int] = field(default_factory=dict)
    shown: set[int] = field(default_factory=set)  # keyings that are no longer blind
    shown_findings: set[int] = field(default_factory=set)

    def take(self, entry: Mapping[str, Any]) -> None:
        """Note what an entry names."""
        for change in entry["changes"]:
            if change["before"] is None:
                self._take_row(change["table"], change["id"], change["after"])
        facts = entry["facts"]
        self.shown.update(each["keying"] for each in facts.get("revealed", ()) if "keying" in each)
        self.shown_findings.update(each["finding"] for each in facts.get("findings", ()))

    def _take_row(self, table: str, pk: int, row: Mapping[str, Any]) -> None:
        match _TABLES.get(table):
            case "record":
                self.signed.append(pk)
            case "signature":
                self.signatures.add(pk)
            case "document":
                self.documents.append(pk)
            case "photo":
                self.photos[row["keying_id"]] = pk
            case "finding photo":
                self.finding_photos[row["finding_id"]] = pk


_TABLES = {
    InspectionRecord._meta.db_table: "record", SignOff._meta.db_table: "signature",
    ArchivedPdf._meta.db_table: "document", Photo._meta.db_table: "photo",
    FindingPhoto._meta.db_table: "finding photo",
}  # fmt: skip


def ask(made: CheckpointMade, reels: Iterable[str] | None, *, since: str = "") -> EvidenceAsked:
    """What to write for a checkpoint. reels: their serials; None: every history. since: an earlier checkpoint's text.

    Raises NotFound for a reel that the checkpoint does not have, and for one that is not earlier.
    """
    texts = {
        "checkpoint.txt": made.text,
        "keys.txt": "".join(f"{each}\n" for each in sorted(known_keys())),
        "evidence.json": json.dumps({"form": FORM, "whole": reels is None}) + "\n",
        "README.txt": README.format(service=settings.SERVICE_NAME, made=f"{made.made_at:%Y-%m-%d %H:%M}"),
        CHECKER: (HANDBOOK / CHECKER).read_text(encoding="utf-8"),
    }
    covered = [made.entries]
    if since:
        first = checkpoint.lines_of(since).get("entries", "")
        covered.append(int(first) if first.isdecimal() else 0)
        proof = asdict(checkpoints.consistency(covered[-1], made.entries))
        texts |= {"since.txt": since, "consistency.json": _json(proof)}
    for entries, rows in countersigned_by(covered).items():
        texts |= {f"countersignatures/{entries}-{number}.txt": row.text for number, row in enumerate(rows, 1)}
    chains = Chain.objects.filter(entries__seq=1, entries__place__number__lte=made.entries).order_by("pk")
    register = list(chains.filter(name=access.REGISTER).values_list("pk", flat=True))
    if reels is None:
        ids = list(chains.values_list("pk", flat=True))
    else:
        ids = register + [
            access.one(chains, "reel in the checkpoint", name=access.reel_chain(each)).pk for each in reels
        ]
    return EvidenceAsked(entries=made.entries, chains=ids, is_whole=reels is None, texts=texts)


def evidence_files(asked: EvidenceAsked) -> Iterator[EvidenceFile]:
    """Every file of the folder; each is to be read to its end before the next one is asked for.

    In memory are a few entries or documents at a time, what one history names, and the digests of the photos.
    """
    for name, text in asked.texts.items():
        yield name, iter([text.encode()])
    photos: set[bytes] = set()
    for start in range(0, len(asked.chains), AT_ONCE):
        for chain in Chain.objects.filter(pk__in=asked.chains[start : start + AT_ONCE]).order_by("pk"):
            yield from _of_chain(chain, asked.entries, photos)


def stem_of(name: str) -> str:
    """The beginning of the names of a history's files: what can be read of its name, and 16 digits of its SHA-256.

    The same in every file system, whatever letters the name has.
    """
    return f"{re.sub(r'[^A-Za-z0-9.-]', '_', name)[:60]}-{sparse_merkle.key_of(name).hex()[:16]}"


def _of_chain(chain: Chain, entries: int, photos: set[bytes]) -> Iterator[EvidenceFile]:
    stem, named = stem_of(chain.name), NamedInHistory()
    yield f"ends/{stem}.json", iter([_json(asdict(checkpoints.chain_path(entries, chain.name))).encode()])
    if chain.name == PRACTICE:
        return
    yield f"histories/{stem}.jsonl", _history(chain, entries, named)
    yield from _records(named)
    for document in _few(ArchivedPdf.objects.all(), named.documents):
        yield f"documents/inspection-{document.inspection_id}-{document.number}.pdf", iter([bytes(document.content)])
    seen = (Photo, named.photos, named.shown), (FindingPhoto, named.finding_photos, named.shown_findings)
    for model, ids, shown in seen:
        yield from _photos(model._default_manager.all(), [pk for of, pk in ids.items() if of in shown], photos)


def _history(chain: Chain, entries: int, named: NamedInHistory) -> Iterator[bytes]:
    rows = HistoryEntry.objects.filter(chain=chain, place__number__lte=entries)
    for row in in_pages(rows, ("seq",), AT_ONCE):
        content = bytes(row.content)
        if (entry := ledger.read(content)) is not None:
            named.take(entry)
        yield ledger.exported(content).encode()


def _records(named: NamedInHistory) -> Iterator[EvidenceFile]:
    for record in _few(InspectionRecord.objects.all(), named.signed):
        signatures = [
            {"statement": base64.b64encode(bytes(each.statement)).decode(), "digest": each.digest}
            for each in SignOff.objects.filter(inspection=record.inspection_id).order_by("signed_at", "pk")
            if each.pk in named.signatures
        ]
        written = {"record": base64.b64encode(bytes(record.content)).decode(), "signatures": signatures}
        yield f"records/{record.inspection_id}.json", iter([_json(written).encode()])


def _photos(rows: "QuerySet[Any]", ids: Collection[int], photos: set[bytes]) -> Iterator[EvidenceFile]:
    photo: PhotoBytes
    for photo in _few(rows, ids):
        content = bytes(photo.content)
        digest = hashlib.sha256(content)
        if digest.digest() not in photos:  # the same picture may be kept twice
            photos.add(digest.digest())
            yield f"photos/{photo.digest}.{ENDINGS[photo.media_type]}", iter([content])


def _few(rows: "QuerySet[Any]", ids: Collection[int]) -> Iterator[Any]:
    """The rows of these ids that are there, a few at a time."""
    in_order = sorted(ids)
    for start in range(0, len(in_order), FEW):
        yield from rows.filter(pk__in=in_order[start : start + FEW]).order_by("pk")


def _json(value: Any) -> str:
    return json.dumps(value) + "\n"
