"""The OpenAPI document, made from the same descriptions by which requests are checked and answers rendered."""

from http import HTTPStatus
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from reels import standby
from reels.api.authentication import BearerAuthentication
from reels.api.endpoints import JSON, Operation
from reels.api.fields import Degrees, Named
from reels.api.forms import Form, Out, page_of
from reels.api.serializers import Awaited, NotYetOut

PROBLEM = "application/problem+json"
KEY = OpenApiParameter(
    "Idempotency-Key", {"type": "string", "pattern": '^"[\\x20-\\x21\\x23-\\x5b\\x5d-\\x7e]{1,255}"$'},
    OpenApiParameter.HEADER, required=True,
    description="In double quotes. The same key with the same body gets the same answer again.",
)  # fmt: skip
MATCH = OpenApiParameter(
    "If-Match", {"type": "string", "pattern": '^"[0-9a-f]{64}"$'}, OpenApiParameter.HEADER, required=True,
    description="The ETag of what was last seen.",
)  # fmt: skip


class ErrorOut(Out):
    """What is wrong with one value: the place of it in the body, the name of the parameter or of the header."""

    pointer = serializers.CharField(required=False, help_text="JSON pointer (RFC 6901) into the body.")
    parameter = serializers.CharField(required=False)
    header = serializers.CharField(required=False)
    code = serializers.CharField()
    detail = serializers.CharField()


class ProblemOut(Out):
    """RFC 9457. Programs branch on `type` and on the errors' `code`."""

    type = serializers.CharField(help_text="/problems/… ; all of them are in deploy/handbook/problems.md.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField(help_text="The path that was asked for.")
    request_id = serializers.CharField(help_text="Under which the service's log tells of the request.")
    errors = ErrorOut(many=True)  # type: ignore[assignment]  # the word of RFC 9457's example


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # registers itself by being a class
    target_class = BearerAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A script's token, issued by an administrator."}


class NamedSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    target_class = Named

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        return {"type": "string", "pattern": f"^{self.target.pattern}$"}


class DegreesSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    target_class = Degrees

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        return {"type": "number", "minimum": 0, "maximum": 360}


class EndpointSchema(AutoSchema):
    """One operation of the document, from its `Operation`."""

    @property
    def operation(self) -> Operation | None:
        handler = getattr(self.view, self.method.lower(), None)
        operation: Operation | None = getattr(handler, "operation", None)
        return operation

    def is_excluded(self) -> bool:
        return self.operation is None

    def get_operation_id(self) -> str:
        return self._described().id

    def get_summary(self) -> str:
        return self._described().description.split(". ")[0].rstrip(".") + "."

    def get_description(self) -> str:  # type: ignore[override]
        described = self._described()
        if described.id == "session_begin":
            return described.description
        needed = " or ".join(f"`{each}`" for each in described.scopes)
        scope = f"Tokens need the scope {needed}." if needed else "In person only: no token may."
        return f"{described.description}\n\n{scope}"

    def get_tags(self) -> list[str]:
        return [self.path.removeprefix("/api/v1/").split("/")[0]]

    def get_auth(self) -> list[dict[str, Any]]:
        if self._described().id == "session_begin":
            return [{}]
        return [{"token": []}, {"cookieAuth": []}] if self._described().scope else [{"cookieAuth": []}]

    def get_request_serializer(self) -> Any:
        form = self._described().form
        return None if self.method in ("GET", "DELETE") else form

    def get_response_serializers(self) -> Any:
        described = self._described()
        answer: Any = described.answer
        if described.is_page and answer is not None:
            answer = page_of(answer)
        if answer is not None and not answer().fields:
            answer = {"type": "object", "additionalProperties": True}
        success: dict[Any, Any] = {(described.status, JSON): answer} if answer else {}
        if described.media_type:
            kind = OpenApiTypes.STR if described.is_text else OpenApiTypes.BINARY
            success[described.status, described.media_type] = kind
        if issubclass(described.answer or Out, Awaited):
            success[202, JSON] = NotYetOut
        problems = {(status, PROBLEM): ProblemOut for status in _refusals(described, self.method, self.path)}
        return (success or {described.status: None}) | problems

    def get_override_parameters(self) -> list[Any]:
        described = self._described()
        headers = [KEY] * described.is_stored + [MATCH] * described.needs_match
        etag = OpenApiParameter("ETag", str, OpenApiParameter.HEADER, response=[described.status], required=True)
        query = [described.query] if described.query().fields else []
        behind = OpenApiParameter(
            standby.HEADER, int, OpenApiParameter.HEADER, response=[described.status], required=False,
            description="How far the standby is behind that this was read from; not there when it was the primary.",
        )  # fmt: skip
        return [*query, *headers, *([etag] if described.tag else []), *([behind] if described.may_be_stale else [])]

    def _described(self) -> Operation:
        assert self.operation is not None, "operations without a description are left out"
        return self.operation


def _refusals(operation: Operation, method: str, path: str) -> list[int]:
    """The statuses of problems that an operation may answer with."""
    has_body = method in ("POST", "PATCH")
    applies = {
        400: True,
        401: True,
        403: True,
        404: "{" in path or has_body,
        406: True,
        409: has_body or 409 in operation.refuses,
        411: has_body,
        412: operation.needs_match,
        413: has_body,
        415: has_body,
        422: operation.is_stored,
        428: operation.needs_match,
        429: True,
        500: True,
        503: True,
    }
    return [status for status, may in applies.items() if may]


def finish(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Say what the generator can't, and once what it says many times."""
    shapes: dict[str, Any] = result["components"].get("schemas", {})
    for name, schema in shapes.items():
        if schema.get("description") in (Form.__doc__, Out.__doc__):
            del schema["description"]
        if name.endswith("Out"):
            _say_that_every_field_is_there(name, schema)
        else:
            schema["additionalProperties"] = False
            _say_what_may_not_be_empty(schema.get("properties", {}))
    result["components"]["responses"] = {"Problem": _PROBLEM_RESPONSE}
    for path in result["paths"].values():
        for operation in path.values():
            for status, response in operation["responses"].items():
                operation["responses"][status] = _shortened(int(status), response)
    plain: dict[str, Any] = _without_marks(result)
    return plain


def _say_that_every_field_is_there(name: str, schema: dict[str, Any]) -> None:
    if name != "ErrorOut":  # whose place is one of three
        schema["required"] = sorted(schema.get("properties", {}))


def _say_what_may_not_be_empty(fields: dict[str, Any]) -> None:
    """Text that may be left out is null, and no text is empty."""
    for about in fields.values():
        if about.get("type") == "string" and not about.keys() & {"pattern", "format", "enum"}:
            about["minLength"] = 1


_PROBLEM_RESPONSE = {
    "description": "What is wrong (RFC 9457).",
    "content": {PROBLEM: {"schema": {"$ref": "#/components/schemas/ProblemOut"}}},
}


def _shortened(status: int, response: dict[str, Any]) -> dict[str, Any]:
    if PROBLEM in response.get("content", {}):
        return {"$ref": "#/components/responses/Problem"}
    return {**response, "description": HTTPStatus(status).phrase}


def _without_marks(value: Any) -> Any:
    """The document without the generator's own marks."""
    if isinstance(value, dict):
        return {name: _without_marks(inner) for name, inner in value.items() if name != "x-spec-enum-id"}
    return [_without_marks(inner) for inner in value] if isinstance(value, list) else value
