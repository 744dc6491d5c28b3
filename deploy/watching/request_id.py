"""The id of the request at work: in the answer's header, in problem documents and in every line of the log."""

import re
import uuid
from contextvars import ContextVar

HEADER = "X-Request-ID"
SHAPE = re.compile(r"[A-Za-z0-9-]{8,64}")

_current: ContextVar[str] = ContextVar("request_id", default="")


def current() -> str:
    """The id of the request at work; "" outside of one."""
    return _current.get()


def begin(proposed: str) -> str:
    """Take the id that the proxy gave, if it has the shape of one, or make one; it stands until the next request."""
    request_id = proposed if SHAPE.fullmatch(proposed) else uuid.uuid4().hex
    _current.set(request_id)
    return request_id


def end() -> None:
    _current.set("")
