"""A small client of the API, for the demo: one person's session. Standard library only."""

import json
import uuid
from dataclasses import dataclass
from http.client import HTTPResponse
from http.cookiejar import CookieJar
from typing import Any
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, ProxyHandler, Request, build_opener

WAIT_S = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiResponse:
    """A response, its body read as JSON."""

    status: int
    body: Any
    etag: str | None

    @property
    def is_refused(self) -> bool:
        return self.status >= 400

    @property
    def message(self) -> str:
        """The detail of a problem document, with the details of single fields."""
        errors = [each["detail"] for each in self.body.get("errors", [])]
        return " ".join(dict.fromkeys([self.body.get("detail") or self.body["title"], *errors]))


class ApiSession:
    """Somebody who is logged in: cookies, the CSRF token, and a new Idempotency-Key for each thing that is stored."""

    def __init__(self, address: str, username: str, password: str) -> None:
        self._address = f"{address}/api/v1/"
        self._opener = build_opener(ProxyHandler({}), HTTPCookieProcessor(CookieJar()))  # no proxy: it is this machine
        self._csrf_token = ""
        self.username = username
        self.login = self.post("session", username=username, password=password)
        if not self.login.is_refused:
            self._csrf_token = self.login.body["csrf_token"]

    def get(self, path: str) -> ApiResponse:
        return self._send("GET", path, None, {})

    def post(self, path: str, *, if_match: str | None = None, **body: Any) -> ApiResponse:
        headers = {"Idempotency-Key": f'"{uuid.uuid4()}"', "X-CSRFToken": self._csrf_token}
        if if_match:
            headers["If-Match"] = if_match
        return self._send("POST", path, body, headers)

    def post_as_seen(self, path: str, *, seen: str, **body: Any) -> ApiResponse:
        """A POST with the ETag of another path, refused if that has changed since."""
        return self.post(path, if_match=self.get(seen).etag, **body)

    def _send(self, method: str, path: str, body: Any, headers: dict[str, str]) -> ApiResponse:
        data = None if body is None else json.dumps(body).encode()
        request = Request(self._address + path, data=data, method=method, headers={  # noqa: S310  # http only
            "Content-Type": "application/json", "Accept": "application/json", **headers,
        })  # fmt: skip
        try:
            with self._opener.open(request, timeout=WAIT_S) as response:
                return _read(response)
        except HTTPError as error:
            with error:
                return _read(error)


def _read(response: HTTPResponse | HTTPError) -> ApiResponse:
    text = response.read()
    is_json = "json" in response.headers.get("Content-Type", "")
    body = json.loads(text) if is_json else {"title": text.decode(errors="replace")[:200]}
    return ApiResponse(status=response.status or 0, body=body, etag=response.headers.get("ETag"))
