"""The API described by itself: the OpenAPI document, and a page of reference made from it.

The document is the committed one, which a test holds against the code. The page is plain HTML of our own: nothing is
fetched from elsewhere and no script runs, so the content security policy needs no exception for it.
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, cast

import yaml
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from reels.api.endpoints import Call, Endpoint, read
from reels.api.forms import Out


@cache
def document() -> dict[str, Any]:
    """The OpenAPI document."""
    return cast("dict[str, Any]", yaml.safe_load(Path(settings.OPENAPI_FILE).read_text(encoding="utf-8")))


class DocumentOut(Out):
    """An OpenAPI 3.1 document."""

    def to_representation(self, instance: Any) -> Any:
        return instance


class OpenApiEndpoint(Endpoint):
    @read("openapi_show", DocumentOut)
    def get(self, call: Call) -> dict[str, Any]:
        """This API as an OpenAPI 3.1 document."""
        return document()


class Reference(View):
    """The same for people, at /reference."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return render(request, "reels/reference.html", {"groups": list(groups()), "shapes": list(shapes())})


def groups() -> Iterator[dict[str, Any]]:
    """Operations by the first part of their path."""
    by_tag: dict[str, list[dict[str, Any]]] = {}
    for path, methods in document()["paths"].items():
        for method, operation in methods.items():
            by_tag.setdefault(operation["tags"][0], []).append(_operation(path, method, operation))
    for tag, operations in sorted(by_tag.items()):
        yield {"name": tag, "operations": operations}


def shapes() -> Iterator[dict[str, Any]]:
    """Bodies and answers, with their fields."""
    for name, schema in document()["components"]["schemas"].items():
        required = schema.get("required", [])
        fields = [
            {
                "name": field,
                "kind": kind_of(about),
                "is_required": field in required,
                "description": about.get("description", ""),
            }
            for field, about in schema.get("properties", {}).items()
        ]
        yield {"name": name, "description": schema.get("description", ""), "fields": fields}


def _operation(path: str, method: str, operation: dict[str, Any]) -> dict[str, Any]:
    body = operation.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema", {})
    answers = [(int(status), response) for status, response in operation["responses"].items()]
    good = [(status, _shape(response)) for status, response in answers if status < 400]
    return {
        "id": operation["operationId"],
        "method": method.upper(),
        "path": path,
        "description": operation["description"].split("\n\n"),
        "parameters": [
            {**each, "place": each["in"], "kind": kind_of(each["schema"])} for each in operation.get("parameters", [])
        ],
        "body": _name(body),
        "answers": good,
        "problems": ", ".join(str(status) for status, _ in answers if status >= 400),
    }


def _shape(response: dict[str, Any]) -> str:
    return _name(response.get("content", {}).get("application/json", {}).get("schema", {}))


def _name(schema: dict[str, Any]) -> str:
    return str(schema.get("$ref", "")).rsplit("/", 1)[-1]


def kind_of(schema: dict[str, Any]) -> str:
    """A value's kind in a few words, such as "string (date-time), or null"."""
    if name := _name(schema):
        return name
    if options := schema.get("oneOf", schema.get("allOf")):
        return " or ".join(kind_of(each) for each in options)
    if words := schema.get("enum"):
        return " | ".join("null" if word is None else str(word) for word in words)
    kinds = schema.get("type", "anything")
    text = ", or ".join(kinds) if isinstance(kinds, list) else str(kinds)
    if "items" in schema:
        return f"list of {kind_of(schema['items'])}"
    return text.replace("string", f"string ({schema['format']})") if "format" in schema else text
