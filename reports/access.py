"""Who may see which document: whoever may see its inspection."""

from datetime import datetime

from django.db.models import OuterRef, QuerySet, Subquery

from inspections import access
from reels.models import Person
from reports.errors import NoDocument
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
