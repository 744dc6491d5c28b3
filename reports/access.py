"""Who may see which document: whoever may see its inspection. And who may take evidence of all away."""

from datetime import datetime

from django.db.models import OuterRef, QuerySet, Subquery

from inspections import access
from inspections.domain.words import Act
from reels import access as reel_access
from reels.models import HistoryEntry, Person
from reports.errors import NoDocument, NotAnAuditor
from reports.models import ArchivedPdf


def document_for_read(inspection_id: int, person: Person, at: datetime, number: int | None = None) -> ArchivedPdf:
    """The document of an inspection as it was drawn up last, or an earlier one by its number.

    Raises NotFound for an inspection that the person may not see, NoDocument when it has none (of that number).
    """
    inspection = access.inspection_for_read(inspection_id, person, at)
    rows = ArchivedPdf.objects.filter(inspection=inspection).order_by("number")
    document = rows.last() if number is None else rows.filter(number=number).first()
    if document is None:
        raise NoDocument(inspection=inspection.pk)
    return document


def readable_documents(person: Person, at: datetime) -> QuerySet[ArchivedPdf]:
    """The newest document of each inspection that the person may see, in order of when the counts were done."""
    return newest_documents().filter(inspection__in=access.readable_inspections(person, at).values("pk"))


def seen_documents(person: Person, at: datetime) -> QuerySet[ArchivedPdf]:
    """Every document, earlier ones too, of the inspections that the person may see."""
    rows = ArchivedPdf.objects.select_related("inspection__reel")
    return rows.filter(inspection__in=access.readable_inspections(person, at).values("pk"))


def newest_documents() -> QuerySet[ArchivedPdf]:
    """The newest document of each inspection, in order of when the counts were done: for who runs the service."""
    newest = ArchivedPdf.objects.filter(inspection=OuterRef("inspection")).order_by("-number").values("pk")[:1]
    return (
        ArchivedPdf.objects.filter(pk=Subquery(newest))
        .select_related("inspection__reel")
        .order_by("inspection__done_at", "pk")
    )


def reads_every_site(person: Person, at: datetime) -> bool:
    """Two queries."""
    return not reel_access.sites().exclude(pk__in=reel_access.readable_sites(person, at).values("pk")).exists()


def audits_everything(person: Person, at: datetime) -> bool:
    """Whether the person may read the register, which tells of people and sites everywhere. Four queries at most."""
    if person.is_active and person.is_staff:
        return True
    held = access.authorisations_in_force(person, at).filter(act=Act.VERIFY, site__isnull=True)
    return held.exists() and reads_every_site(person, at)


def require_auditor(person: Person, at: datetime) -> None:
    """Raises NotAnAuditor, or what an unsettled login raises."""
    reel_access.require_settled(person)
    if not audits_everything(person, at):
        raise NotAnAuditor(name=person.full_name)


def register_for_read(person: Person, at: datetime) -> QuerySet[HistoryEntry]:
    """The entries of the register. Raises NotAnAuditor."""
    require_auditor(person, at)
    return HistoryEntry.objects.filter(chain__name=reel_access.REGISTER)
