"""Documents over the API, as bytes."""

from typing import Any, ClassVar

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from reels.api.authentication import actor_of
from reels.api.endpoints import Endpoint, Operation
from reels.api.forms import Query
from reels.api.schema import EndpointSchema
from reels.domain.words import Scope
from reports import access

PDF = "application/pdf"


class PdfRenderer(JSONRenderer):
    """Lets a client ask for a PDF; problems stay JSON."""

    media_type = PDF
    format = "pdf"


class _DocumentSchema(EndpointSchema):
    def get_response_serializers(self) -> Any:
        refusals = {status: answer for status, answer in super().get_response_serializers().items() if status != 200}
        problem = next(answer for status, answer in refusals.items() if status[0] == 404)
        return {(200, PDF): OpenApiTypes.BINARY, **refusals, (409, "application/problem+json"): problem}


class InspectionDocumentEndpoint(Endpoint):
    renderer_classes: ClassVar[list[type[JSONRenderer]]] = [JSONRenderer, PdfRenderer]  # type: ignore[misc]
    schema = _DocumentSchema()

    def get(self, request: Request, inspection_id: int) -> HttpResponse:
        Query.of(request.query_params)  # there is none
        kept = access.document_for_read(inspection_id, actor_of(request).person, timezone.now())
        return HttpResponse(bytes(kept.content), content_type=PDF, headers={"ETag": f'"{kept.digest}"'})

    get.operation = Operation(  # type: ignore[attr-defined]  # read by Endpoint and by the schema
        id="inspection_document_show",
        description="The document of a signed inspection as it was kept last: PDF/A-3b, sealed, with the record "
        "attached.",
        answer=None,
        scope=Scope.READ,
    )
