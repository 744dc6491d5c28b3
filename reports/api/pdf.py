"""Documents over the API, as bytes."""

from django.http import HttpResponse

from reels.api.endpoints import Call, Endpoint, read_file
from reports import access

PDF = "application/pdf"


class InspectionDocumentEndpoint(Endpoint):
    @read_file("inspection_document_show", PDF, is_text=False, refuses=(409,))
    def get(self, call: Call, inspection_id: int) -> HttpResponse:
        """The document of a signed inspection as it was kept last: PDF/A-3b, sealed, with the record attached."""
        kept = access.document_for_read(inspection_id, call.actor.person, call.at)
        return HttpResponse(bytes(kept.content), content_type=PDF, headers={"ETag": f'"{kept.digest}"'})
