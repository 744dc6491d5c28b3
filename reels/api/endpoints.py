"""What every path of the API does in the same way, so that its own few lines say only what is particular to it.

A handler is made with `read` (GET), `read_file` (a GET of something else than JSON), `create` (a POST that writes, once
for each Idempotency-Key), `action` (a POST or DELETE that keeps nothing) or `update` (PATCH). The decorator checks the
query, body and headers, calls the handler with a `Call`, and renders what it returns. A method without a decorator is
not served. The same description makes the operation's part of the OpenAPI document.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial, wraps
from typing import Any, ClassVar, cast

from django.db import transaction
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from reels import standby
from reels.api import conditions, paging
from reels.api.authentication import actor_of
from reels.api.forms import Form, Nothing, Out, Query
from reels.api.parsing import MOST_BYTES, LengthMissing
from reels.domain import ledger
from reels.domain.words import Scope
from reels.errors import NotYet, Refused
from reels.models import columns
from reels.services import submissions
from reels.services.browsers import Origin, origin_of
from reels.services.history import Actor

JSON = "application/json"
Handler = Callable[..., Any]
Decorator = Callable[[Handler], Handler]
Tag = Callable[[Any], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One method of one path.

    answer: the shape of what the handler returns; None: nothing. scope: of the tokens that may use it; None: people in
    person only. is_page: it returns a Page of such answers. is_stored: it needs an Idempotency-Key. needs_match: it
    needs If-Match. tag: its answer has this ETag. hides: fields of the answer that are shown once and never kept.
    may_be_stale: it is read from the standby where there is one. media_type, is_text: of the file that it answers with,
    beside an answer in JSON if it has one. refuses: statuses of problems beside the usual ones.
    """

    id: str
    description: str
    answer: type[Out] | None
    form: type[Form] | None = None
    query: type[Query] = Query
    status: int = 200
    scope: str | tuple[str, ...] | None = None
    is_page: bool = False
    is_stored: bool = False
    needs_match: bool = False
    tag: Tag | None = None
    hides: tuple[str, ...] = ()
    may_be_stale: bool = False
    media_type: str = ""
    is_text: bool = True
    refuses: tuple[int, ...] = ()

    @property
    def scopes(self) -> tuple[str, ...]:
        """Those of which a token needs one; none: no token may use it."""
        return (self.scope,) if isinstance(self.scope, str) else self.scope or ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """A checked request: who asks, when, with which parameters and body."""

    request: Request
    actor: Actor
    at: datetime
    query: dict[str, Any]
    payload: dict[str, Any] = field(default_factory=dict)

    @property
    def origin(self) -> Origin:
        """From where it is asked."""
        return origin_of(self.request._request)

    def page(self, rows: Any, *order: str) -> paging.Page:
        """One page of rows in a total order; the last column is unique."""
        return paging.page(rows, order, self.query, self.request)


class FileRenderer(JSONRenderer):
    """Lets a client ask for a file; problems stay JSON."""

    def __init__(self, media_type: str) -> None:
        self.media_type, self.format = media_type, media_type.rpartition("/")[2]


class Endpoint(APIView):
    """A path of the API."""

    operation: Operation | None = None
    most_body_bytes: ClassVar[int] = MOST_BYTES

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Find out what is asked for before anybody is let in. Raises MethodNotAllowed."""
        handler = getattr(self, str(request.method).lower(), None)
        self.operation = getattr(handler, "operation", None)
        super().initial(request, *args, **kwargs)
        if self.operation is None:
            raise MethodNotAllowed(str(request.method))

    def get_renderers(self) -> list[Any]:
        media_type = self.operation.media_type if self.operation else ""
        return [*super().get_renderers(), *([FileRenderer(media_type)] if media_type else [])]

    def options(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        raise MethodNotAllowed("OPTIONS")

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Response:
        """Nothing is kept on the way: an answer may show its reader what others may not see yet."""
        response.headers["Cache-Control"] = "no-store"
        return super().finalize_response(request, response, *args, **kwargs)

    @property
    def allowed_methods(self) -> list[str]:
        return [name.upper() for name in self.http_method_names if hasattr(getattr(self, name, None), "operation")]

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        """Lock what the path names and give its ETag now. Endpoints that need If-Match say how."""
        raise NotImplementedError


def tag_of(row: Any) -> str:
    """The ETag of a reel and all that hangs on it: the head of the reel's chain, which moves with every act."""
    return f'"{getattr(row, "reel", row).chain.head}"'


def tag_of_columns(row: Any) -> str:
    """The ETag of a row of reference data."""
    return f'"{ledger.digest(ledger.canonical(columns(row)))}"'


def read(operation_id: str, answer: type[Out] | None, *, query: type[Query] = Query, is_page: bool = False,
         tag: Tag | None = None, scope: str | tuple[str, ...] | None = Scope.READ, may_be_stale: bool = False,
         refuses: tuple[int, ...] = ()) -> Decorator:  # fmt: skip
    """A GET."""
    return _served(_respond, id=operation_id, answer=answer, query=query, scope=scope, is_page=is_page, tag=tag,
                   may_be_stale=may_be_stale, refuses=refuses)  # fmt: skip


def read_file(
    operation_id: str, media_type: str, *, answer: type[Out] | None = None, query: type[Query] = Query,
    is_text: bool = True, may_be_stale: bool = False, refuses: tuple[int, ...] = (), scope: str | None = Scope.READ,
) -> Decorator:  # fmt: skip
    """A GET whose handler gives the response itself. answer: the shape of what it gives whoever asks for JSON."""
    return _served(_respond_with_file, id=operation_id, media_type=media_type, answer=answer, query=query,
                   is_text=is_text, scope=scope, may_be_stale=may_be_stale, refuses=refuses)  # fmt: skip


def create(operation_id: str, answer: type[Out] | None, form: type[Form] = Nothing, *, status: int = 201,
           scope: str | None = None, needs_match: bool = False, tag: Tag | None = None,
           hides: tuple[str, ...] = ()) -> Decorator:  # fmt: skip
    """A POST that stores something: once for each key, in one transaction with its answer."""
    return _served(_respond_once, id=operation_id, answer=answer, form=form, status=status, scope=scope,
                   needs_match=needs_match, tag=tag, is_stored=True, hides=hides)  # fmt: skip


def action(operation_id: str, answer: type[Out] | None, form: type[Form] = Nothing, *, status: int = 200,
           scope: str | None = None) -> Decorator:  # fmt: skip
    """A POST or DELETE that stores nothing of the records: workings, sessions."""
    return _served(_respond, id=operation_id, answer=answer, form=form, status=status, scope=scope)


def update(operation_id: str, answer: type[Out], form: type[Form]) -> Decorator:
    """A PATCH of reference data. It may be repeated as it is, and If-Match keeps two from overwriting each other."""
    return _served(_respond_if_matching, id=operation_id, answer=answer, form=form, needs_match=True,
                   tag=tag_of_columns)  # fmt: skip


def _served(respond: Callable[..., submissions.SentAnswer | HttpResponseBase], **described: Any) -> Decorator:
    def decorate(handler: Handler) -> Handler:
        operation = Operation(description=" ".join((handler.__doc__ or "").split()), **described)

        @wraps(handler)
        def view(endpoint: Endpoint, request: Request, **path: Any) -> HttpResponseBase:
            answer = respond(operation, partial(handler, endpoint), endpoint, request, path)
            return _http_response(answer) if isinstance(answer, submissions.SentAnswer) else answer

        served: Any = standby.may_be_stale(view) if operation.may_be_stale else view
        served.operation = operation  # read by Endpoint and by the schema
        return cast("Handler", served)

    return decorate


def _respond(operation: Operation, handle: Handler, endpoint: Endpoint, request: Request,
             path: dict[str, Any]) -> submissions.SentAnswer:  # fmt: skip
    return _render(operation, handle(_call(operation, request), **path))


def _respond_with_file(operation: Operation, handle: Handler, endpoint: Endpoint, request: Request,
                       path: dict[str, Any]) -> HttpResponseBase:  # fmt: skip
    response: HttpResponseBase = handle(_call(operation, request), **path)
    return response


def _respond_if_matching(operation: Operation, handle: Handler, endpoint: Endpoint, request: Request,
                         path: dict[str, Any]) -> submissions.SentAnswer:  # fmt: skip
    call = _call(operation, request, is_partial=True)
    match = conditions.required_match(request)
    with transaction.atomic():
        conditions.require_match(match, endpoint.tag_under_lock(call, **path))
        return _render(operation, handle(call, **path))


def _respond_once(operation: Operation, handle: Handler, endpoint: Endpoint, request: Request,
                  path: dict[str, Any]) -> submissions.SentAnswer:  # fmt: skip
    call = _call(operation, request)
    digest = submissions.fingerprint(str(request.method), request.path, _body(request))
    once = submissions.Request(actor=call.actor, key=conditions.key_of(request), fingerprint=digest)
    match = conditions.required_match(request) if operation.needs_match else None
    # A password is slow to check, by design: before the lock is taken, so that nobody waits for it, and not for a
    # repeat, which gets its first answer.
    prepare = getattr(endpoint, "prepare", None)
    if prepare and not submissions.answered(once):
        prepare(call, **path)
    with transaction.atomic():
        # The key first: a repeat gets its first answer, even though its own act has made the If-Match stale.
        if known := submissions.begin(once):
            return known
        if match is not None:
            conditions.require_match(match, endpoint.tag_under_lock(call, **path))
        result = handle(call, **path)
        is_told = isinstance(result, Refused | NotYet)
        answer = _told(endpoint, result) if is_told else _render(operation, result)
        submissions.keep(once, _without(answer, operation.hides), call.at)
    return answer


# The steps of a request ---------------------------------------------------------------------------------------------


def _call(operation: Operation, request: Request, *, is_partial: bool = False) -> Call:
    query = operation.query.of(request.query_params)
    payload: dict[str, Any] = {}
    if operation.form is not None:
        payload = dict(operation.form.shared(is_partial=is_partial).run_validation(_body(request)))
    return Call(request=request, actor=actor_of(request), at=timezone.now(), query=query, payload=payload)


def _body(request: Request) -> Any:
    """The body; {} for none at all. Raises LengthMissing for one that is sent in pieces: it would not be read."""
    if "chunked" in request.headers.get("Transfer-Encoding", "").lower() and not request.META.get("CONTENT_LENGTH"):
        raise LengthMissing()
    return request.data if request.META.get("CONTENT_LENGTH") not in (None, "", "0") else {}


def _render(operation: Operation, result: Any) -> submissions.SentAnswer:
    """What a handler returned, as it goes out."""
    if operation.answer is None:
        return submissions.SentAnswer(status=204, media_type=JSON, body=b"")
    shape = operation.answer.shared()
    if operation.is_page:
        rows = [shape.to_representation(row) for row in result.results]
        return submissions.SentAnswer(status=200, media_type=JSON, body=_json({"results": rows, "next": result.next}))
    headers = {"ETag": operation.tag(result)} if operation.tag else {}
    body = _json(shape.to_representation(result))
    return submissions.SentAnswer(status=operation.status, media_type=JSON, body=body, headers=headers)


def _told(endpoint: Endpoint, result: Refused | NotYet) -> submissions.SentAnswer:
    """What is kept all the same, a refusal or a task put in: it is an answer, and the transaction goes through."""
    response = endpoint.handle_exception(result)
    return submissions.SentAnswer(
        status=response.status_code, media_type=response.content_type or JSON, body=_json(response.data),
        headers={name: value for name, value in response.headers.items() if name in ("Location", "Retry-After")},
    )  # fmt: skip


def _json(data: Any) -> bytes:
    return bytes(JSONRenderer().render(data))


def _without(answer: submissions.SentAnswer, hidden: tuple[str, ...]) -> submissions.SentAnswer:
    """The answer as it is kept."""
    if not hidden:
        return answer
    body = {**json.loads(answer.body), **dict.fromkeys(hidden)}
    return replace(answer, body=_json(body))


def _http_response(answer: submissions.SentAnswer) -> HttpResponse:
    response = HttpResponse(answer.body, status=answer.status, content_type=answer.media_type, headers=answer.headers)
    if not answer.body:
        del response.headers["Content-Type"]
    return response
