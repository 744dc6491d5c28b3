"""Documents over the API, as bytes."""

from django.http import HttpResponse

from reels.access import reel_for_read
from reels.api.endpoints import Call, Endpoint, read_file
from reports import access
from reports.queries.documents import label_of

PDF = "application/pdf"


class InspectionDocumentEndpoint(Endpoint):
    @read_file("inspection_document_show", PDF, is_text=False, refuses=(409,))
    def get(self, call: Call, inspection_id: int) -> HttpResponse:
        """The document of a signed inspection as it was kept last: PDF/A-3b, sealed, with the record attached."""
        kept = access.document_for_read(inspection_id, call.actor.person, call.at)
        return HttpResponse(bytes(kept.content), content_type=PDF, headers={"ETag": f'"{kept.digest}"'})


class ReelLabelEndpoint(Endpoint):
    @read_file("reel_label_show", PDF, is_text=False)
    def get(self, call: Call, serial: str) -> HttpResponse:
        """A label for the reel, to print: its serial, and a QR code that leads to its page."""
        from reports.pdf.sheets.labels import label_sheet

        reel = reel_for_read(serial, call.actor.person, call.at)
        return HttpResponse(label_sheet([label_of(reel, call.request)], at=call.at), content_type=PDF)
