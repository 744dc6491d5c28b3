"""Post what lies in a spool folder, over a network that may fail at any moment: nothing is stored twice, nothing lost.

    WRAPLEDGER_TOKEN=… python post_spool.py http://127.0.0.1:8000 SPOOL

Each file SPOOL/*.json is a count or a cable event:

    {"reel": "LW-0001", "preparation": {…}, "reading": {"gauge": {…}, "technician": {…}, "verifier": {…}}}
    {"reel": "LW-0001", "cable_event": {…}}

Each request carries an Idempotency-Key made from the file's name and content; it can be sent again for years.
What is stored moves to SPOOL/done with the answer beside it; what is refused, to SPOOL/refused with the problem
document. What could not be sent stays for the next run. Ends with 0 when the spool is empty, 1 when something stayed,
2 when something was refused. Standard library only.
"""

import hashlib
import json
import os
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass
from http.client import HTTPException
from pathlib import Path
from typing import Any

TRIES = 6
FIRST_WAIT_S = float(os.environ.get("FIRST_WAIT_S", "1"))
TIMEOUT_S = 30
TRY_AGAIN = {409: "still-running", 429: "", 500: "", 502: "", 503: "", 504: ""}


class NotSent(Exception):
    """No answer could be had; the same request may be sent again."""


@dataclass(frozen=True)
class RequestRefused(Exception):
    """The service will not store this; its problem document says why."""

    problem: dict[str, Any]


def post(service: str, path: str, key: str, body: dict[str, Any]) -> dict[str, Any]:
    """One request, tried until there is an answer that will not change. Raises NotSent or RequestRefused."""
    for attempt in range(TRIES):
        if attempt:
            time.sleep(FIRST_WAIT_S * 2 ** (attempt - 1))
        answer = send(service, path, key, body)
        if answer is not None:
            return answer
    raise NotSent(path)


def send(service: str, path: str, key: str, body: dict[str, Any]) -> dict[str, Any] | None:
    """The answer; None when it must be asked for again. Raises RequestRefused."""
    request = urllib.request.Request(
        f"{service}/api/v1/{path}",
        json.dumps(body).encode(),
        {
            "Authorization": f"Bearer {os.environ['WRAPLEDGER_TOKEN']}",
            "Content-Type": "application/json",
            "Idempotency-Key": f'"{key}"',
        },
    )
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as response:
            answer: dict[str, Any] = json.load(response)
            return answer
    except urllib.error.HTTPError as error:
        content = error.read()
        if may_change(error.code, content):
            return None
        raise RequestRefused(json.loads(content)) from None
    except (OSError, HTTPException, ValueError):  # no connection, cut off, or half an answer
        return None


def may_change(status: int, content: bytes) -> bool:
    """Whether the same request may get another answer later. A 409 only while the first one is still at work."""
    return status in TRY_AGAIN and TRY_AGAIN[status].encode() in content


def deliver(service: str, item: dict[str, Any], key: str) -> dict[str, Any]:
    """Store one count or cable event; the service's last answer."""
    reel = urllib.parse.quote(item["reel"], safe="")
    if "cable_event" in item:
        return post(service, f"reels/{reel}/cable-events", key, item["cable_event"])
    opened = post(service, f"reels/{reel}/inspections", f"{key}-open", item["preparation"])
    return post(service, f"inspections/{opened['id']}/readings", f"{key}-reading", item["reading"])


def key_of(path: Path) -> str:
    return hashlib.sha256(path.name.encode() + b"\0" + path.read_bytes()).hexdigest()


def put_away(path: Path, folder: str, answer: dict[str, Any]) -> None:
    """Move a file, after its answer is safely beside its new place."""
    there = path.parent / folder
    there.mkdir(exist_ok=True)
    (there / f"{path.name}.answer").write_text(json.dumps(answer, indent=1), encoding="utf-8")
    path.rename(there / path.name)


def main(service: str, spool: Path) -> int:
    stayed = refused = 0
    for path in sorted(spool.glob("*.json")):
        try:
            put_away(path, "done", deliver(service, json.loads(path.read_text(encoding="utf-8")), key_of(path)))
            print(f"{path.name}: stored")
        except RequestRefused as refusal:
            put_away(path, "refused", refusal.problem)
            print(f"{path.name}: refused: {refusal.problem['detail']}")
            refused += 1
        except NotSent:
            print(f"{path.name}: no answer; it stays for the next run")
            stayed += 1
        except (ValueError, KeyError, TypeError) as unreadable:
            put_away(path, "refused", {"detail": f"This file is not a count or cable event: {unreadable!r}."})
            print(f"{path.name}: not a count or cable event: {unreadable!r}")
            refused += 1
    return 2 if refused else 1 if stayed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1].rstrip("/"), Path(sys.argv[2])))
