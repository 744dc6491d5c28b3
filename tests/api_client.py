"""A client of the API whose every answer is held against the committed OpenAPI document."""

import json
import re
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import yaml
from django.test import Client
from jsonschema import Draft202012Validator

from reels.models import Person

BASE = "/api/v1/"
DOCUMENT = Path(__file__).resolve().parents[1] / "deploy" / "handbook" / "openapi.yaml"
PROBLEM = "application/problem+json"
_keys = count(1)


@cache
def document() -> dict[str, Any]:
    """The committed document, with answers closed: a field that it does not name is an error here."""
    found: dict[str, Any] = yaml.load(DOCUMENT.read_text(encoding="utf-8"), Loader=yaml.CSafeLoader)
    for schema in found["components"]["schemas"].values():
        schema.setdefault("additionalProperties", False)
    return found


@cache
def operations() -> list[tuple[re.Pattern[str], str, dict[str, Any]]]:
    return [
        (re.compile(re.sub(r"\{\w+\}", "[^/]+", path)), method.upper(), operation)
        for path, methods in document()["paths"].items()
        for method, operation in methods.items()
    ]


@cache
def validator(reference: str) -> Draft202012Validator:
    return Draft202012Validator({"$ref": reference, "components": document()["components"]})


def check(method: str, path: str, response: Any) -> None:
    """The answer is one that the document tells of."""
    if response.status_code >= 400:
        assert response.headers["Content-Type"] == PROBLEM
        body = json.loads(response.content)
        assert body["status"] == response.status_code
        assert body["instance"] == unquote(path)
        validator("#/components/schemas/ProblemOut").validate(body)
    found = [each for pattern, of, each in operations() if of == method and pattern.fullmatch(path)]
    if not found:
        assert response.status_code in (401, 404, 405), f"{method} {path} is not in the document"
        return
    told = found[0]["responses"].get(str(response.status_code))
    assert told is not None, f"{method} {path} answered {response.status_code}, which the document does not name"
    assert response.headers["Cache-Control"] == "no-store"
    assert ("ETag" in response.headers) == ("ETag" in told.get("headers", {})), f"{method} {path}: ETag"
    if "content" in told:
        [(media_type, shape)] = told["content"].items()
        assert response.headers["Content-Type"] == media_type
        schema = shape["schema"]
        if "$ref" in schema:
            validator(schema["$ref"]).validate(json.loads(response.content))


class ApiClient:
    """One person's, or one token's, way into the API. `key` and `match` are put in quotes as they stand."""

    def __init__(self, person: Person | None = None, *, token: str = "", csrf: bool = False) -> None:
        self.http = Client(enforce_csrf_checks=csrf, raise_request_exception=False)
        self.headers = {"Authorization": f"Bearer {token}"} if token else {}
        if person is not None:
            self.http.force_login(person)

    def get(self, path: str, **headers: str) -> Any:
        return self.send("GET", path, headers=headers)

    def post(self, path: str, body: Any = None, *, key: str | None = "new", match: str | None = None,
             **headers: str) -> Any:  # fmt: skip
        """key: "new" for one of its own, None for none. match: an ETag."""
        if key is not None:
            headers["Idempotency-Key"] = f'"test-{next(_keys)}"' if key == "new" else key
        if match is not None:
            headers["If-Match"] = match
        return self.send("POST", path, {} if body is None else body, headers)

    def patch(self, path: str, body: Any, match: str | None = None) -> Any:
        return self.send("PATCH", path, body, {} if match is None else {"If-Match": match})

    def delete(self, path: str) -> Any:
        return self.send("DELETE", path)

    def send(self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None) -> Any:
        """One request; a body that is bytes goes as it is."""
        data = body if isinstance(body, bytes) else b"" if body is None else json.dumps(body).encode()
        where = path if path.startswith("/") else BASE + path
        response: Any = self.http.generic(
            method, where, data, content_type="application/json", headers={**self.headers, **(headers or {})}
        )
        check(method, where.split("?")[0], response)
        return response

    def tag(self, path: str) -> str:
        """The ETag of what is at a path now."""
        return str(self.get(path).headers["ETag"])


def said(response: Any, status: int, code: str) -> dict[str, Any]:
    """The problem document of a refusal, which is of this status and type."""
    body: dict[str, Any] = response.json()
    assert (response.status_code, body["type"]) == (status, f"/problems/{code.replace('_', '-')}"), body
    return body


def places(response: Any) -> list[str]:
    """What a refusal points at: JSON pointers, parameters and headers."""
    return [error.get("pointer", error.get("parameter", error.get("header"))) for error in response.json()["errors"]]
