"""Checking documents: files from anywhere, and those that are kept."""

from collections.abc import Container
from itertools import islice
from typing import TYPE_CHECKING

from inspections.domain.words import InspectionState
from inspections.models import InspectionRecord, SignOff
from reels.domain import ledger
from reels.domain.ledger import Break
from reports.domain.verdicts import CheckResult, Question, Verdict, fails, holds
from reports.errors import SealMissing
from reports.models import ArchivedPdf
from reports.services.seal import known_fingerprints

if TYPE_CHECKING:
    from reports.pdf.examination import Examination

CHUNK = 20  # documents held at a time


def check_document(content: bytes) -> tuple[CheckResult, ...]:
    """Seal, record, pages and history of a file, each with a verdict of its own. Any bytes get an answer."""
    from reports.pdf.examination import examine

    examined = examine(content)
    seal, *others = examined.results
    return (_ours(seal, examined), *others, history(content, examined))


def _ours(seal: CheckResult, examined: "Examination") -> CheckResult:
    """A seal that holds, but is somebody else's, is no seal of this service."""
    if seal.verdict is not Verdict.HOLDS:
        return seal
    short = examined.fingerprint[:16]
    try:
        if examined.fingerprint in known_fingerprints():
            return holds(Question.SEAL, f"{seal.why} The certificate is this service's, {short}….")
        return fails(Question.SEAL, f"{seal.why} But the certificate {short}… is not one of this service.")
    except SealMissing as missing:
        return fails(Question.SEAL, f"{seal.why} But this service knows no certificate: {missing}")


def history(content: bytes, examined: "Examination") -> CheckResult:
    """Whether this service kept the very file, what is attached to it is in its records, and what happened since."""
    row = ArchivedPdf.objects.filter(digest=ledger.digest(content)).select_related("inspection__record").first()
    if row is None:
        known = InspectionRecord.objects.filter(digest=examined.record).first() if examined.record else None
        if known is None:
            return fails(Question.HISTORY, "Neither this file nor its record was ever kept here.")
        why = f"This file was never kept; its record is that of inspection {known.inspection_id}."
        return fails(Question.HISTORY, why)
    if examined.record != row.inspection.record.digest:
        return fails(Question.HISTORY, f"It was kept, but the record of inspection {row.inspection_id} is another.")
    signatures = tuple(SignOff.objects.filter(inspection=row.inspection_id).values_list("digest", flat=True))
    if sorted(examined.signatures) != sorted(signatures):
        return fails(Question.HISTORY, f"It was kept, but the signatures of inspection {row.inspection_id} differ.")
    later = ArchivedPdf.objects.filter(inspection=row.inspection_id, number__gt=row.number).count()
    newer = "A later one shows a later situation." if later == 1 else f"{later} later ones show later situations."
    since = newer if later else "It is the newest."
    if row.inspection.state == InspectionState.VOIDED:
        since += " The inspection was voided."
    return holds(Question.HISTORY, f"Kept as document {row.number} of inspection {row.inspection_id}. {since}")


# What is kept -------------------------------------------------------------------------------------------------------


def archive_break() -> Break | None:
    """The first kept document that is not what it should be: its bytes, its seal, or the record that it carries.

    For `verify_records`, which finds by itself what was changed without a history. About 20 ms a document.
    """
    rows: list[ArchivedPdf] = []
    while rows := next_documents(rows[-1].pk if rows else 0):
        if broken := first_fault(rows):
            return broken
    return None


def next_documents(after: int, of: Container[int] | None = None) -> list[ArchivedPdf]:
    """Some kept documents beyond an id, with their records. Two queries. of: only of the reels of these chains."""
    beyond = ArchivedPdf.objects.filter(pk__gt=after).order_by("pk")
    chains = beyond.values_list("pk", "inspection__reel__chain").iterator()
    ids = list(islice((pk for pk, chain in chains if of is None or chain in of), CHUNK))
    return list(ArchivedPdf.objects.filter(pk__in=ids).order_by("pk").select_related("inspection__record"))


def first_fault(rows: list[ArchivedPdf]) -> Break | None:
    """What is wrong with the first of these documents with which something is."""
    known = known_fingerprints()
    for row in rows:
        if why := document_fault(row, known):
            return Break(where=f"inspection {row.inspection_id}, document {row.number}", why=why)
    return None


def document_fault(row: ArchivedPdf, known: frozenset[str]) -> str | None:
    """What is wrong with a kept document, or None. known: fingerprints of the service's certificates."""
    from reports.pdf.examination import examine_here

    content = bytes(row.content)
    if ledger.digest(content) != row.digest:
        return f"its bytes have the digest {ledger.digest(content)[:12]}, but {row.digest[:12]} is told"
    if ledger.digest(content[: row.unsealed_length]) != row.unsealed_digest:
        return "what was sealed is not what was drawn up"
    examined = examine_here(content, with_pages=False)
    for result in examined.results:
        if result.verdict is Verdict.FAILS:
            return str(result)
    if examined.fingerprint not in known:
        return f"its seal is of the certificate {examined.fingerprint[:16]}…, which is not one of this service"
    if examined.record != row.inspection.record.digest:
        return "the record that it carries is not the one that was signed"
    return None
