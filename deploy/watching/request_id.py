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


def begin(given: str) -> str:
    """Take the id that the proxy gave, if it has the shape of one, or make one; it stands until the next request."""
    made = given if SHAPE.fullmatch(given) else uuid.uuid4().hex
    _current.set(made)
    return made


def end() -> None:
    _current.set("")
