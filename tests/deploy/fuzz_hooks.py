"""What the fuzzer sends beside what it makes up, when it acts as somebody: loaded by it, in its own process.

With the keys that it makes up, all of them alike, each act but the first is a repeat of another's; with the ETags, each
is stale. So they end before any rule of the trade is asked.
"""

import uuid
from typing import Any

import schemathesis

BY_OPERATION = {"machines": ("serial", "RM-7"), "wrap_gauges": ("serial", "WG-RM-7"), "sites": ("code", "kettle-point")}


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """Make each act a new one on what stands, and have paths lead to things of their own kind."""
    for name in case.headers or ():
        if name.lower() == "idempotency-key":
            case.headers[name] = f'"{uuid.uuid4()}"'
        if name.lower() == "if-match":
            case.headers[name] = "*"
    kind = (case.operation.definition.raw.get("operationId") or "").rpartition("_")[0]
    if kind in BY_OPERATION and case.path_parameters:
        name, value = BY_OPERATION[kind]
        case.path_parameters[name] = value
