"""A load of whole counts, from their opening to issued setup values, by people and a script who never give up.

Whoever gets no answer, or a 5xx, sends the same request again with the same Idempotency-Key, as api.md says. What was
acknowledged is kept here, so that it can be looked for afterwards.
"""

import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.client import HTTPException
from typing import Any

from tests.deployment.processes import HOST, NodeAnswer, wait_until

CSRF = "a" * 32
PREPARATION: dict[str, Any] = {
    "work_order": "WO-1001", "publication": "LWS 12-3", "publication_revision": "C",
    "cable_sound": True, "winding_sound": True, "drum_sound": True, "end_fitting_sound": True, "scales_sound": True,
    "cautions_confirmed": True,
    "turned_as_installed": True, "marks_found": True, "technician": "tess",
}  # fmt: skip
POINTS = {"open_side": "right", "scale_left": 13, "scale_right": 12, "hand_wraps": 12, "gauge_face": "even",
          "gauge_wraps": 12, "crossover_half": "first"}  # fmt: skip
WAIT_S = 0.1


def readings_of(serial: str) -> dict[str, Any]:
    """What both people read of a reel."""
    points = {"serial": serial, **POINTS}
    return {
        "gauge": {"wrap_gauge": "WG-RM-7", "end_marks_match": True, "is_back": True},
        "technician": {"person": "tess", **points, "unwind": "right_to_left"},
        "verifier": {"person": "vic", **points},
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledged:
    """A request that was answered with success."""

    kind: str
    serial: str
    key: str
    id: int
    path: str
    at: float


@dataclass(slots=True)
class Load:
    """What was sent and answered so far. client: has `send`, as processes.Tls and processes.Direct."""

    client: Any
    world: dict[str, Any]
    senders: int = 3
    patience_s: float = 180
    timeout_s: float = 60  # of one request
    acknowledged: list[Acknowledged] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    sent_again: list[str] = field(default_factory=list)
    longest_s: float = 0.0
    ends: threading.Event = field(default_factory=threading.Event)
    lock: Any = field(default_factory=threading.Lock)
    waiting: list[str] = field(default_factory=list)

    @contextmanager
    def running(self) -> Iterator["Load"]:
        """Under way within the block. At its end each sender still finishes the request that it is at."""
        self.waiting = self.waiting or list(reversed(self.world["serials"]))
        self.ends.clear()
        threads = [threading.Thread(target=self._work, daemon=True) for _ in range(self.senders)]
        for thread in threads:
            thread.start()
        try:
            yield self
        finally:
            self.ends.set()
            for thread in threads:
                thread.join(self.patience_s + self.timeout_s)  # the last request of its patience may take so long
        assert not any(thread.is_alive() for thread in threads), "a sender got no answer in all its patience"

    def more(self, requests: int, what: str = "work is done") -> None:
        """Wait until so many more are acknowledged. An assertion fails when that takes too long."""
        before = len(self.acknowledged)
        wait_until(lambda: len(self.acknowledged) >= before + requests, what, 120)

    def _work(self) -> None:
        while not self.ends.is_set():
            with self.lock:
                if not self.waiting:
                    return
                serial = self.waiting.pop()
            self._story(serial)

    def _story(self, serial: str) -> None:
        reel = f"/api/v1/reels/{serial}"
        opened = self._send("inspection", serial, f"{reel}/inspections", PREPARATION, self._by_script())
        if opened is None:
            return
        count = f"/api/v1/inspections/{opened['id']}"
        password = self.world["password"]
        steps = (
            ("reading", f"{count}/readings", readings_of(serial), self._by_script()),
            ("counted", f"{count}/sign-offs", {"meaning": "counted", "password": password}, self._by("technician")),
            ("verified", f"{count}/sign-offs", {"meaning": "verified", "password": password}, self._by("verifier")),
            ("setup values", f"{reel}/setup-values", {"machine": f"RM-{serial}"}, self._by("control")),
        )
        for kind, path, body, headers in steps:
            if self.ends.is_set() or self._send(kind, serial, path, body, headers) is None:
                return

    def _by_script(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.world['token']}"}

    def _by(self, part: str) -> dict[str, str]:
        return {
            "Cookie": self.world["cookies"][part],
            "X-CSRFToken": CSRF,
            "If-Match": "*",
            "Referer": f"https://{HOST}/",
        }

    def _send(self, kind: str, serial: str, path: str, body: Any, headers: dict[str, str]) -> Any:
        """The body of the answer, once there is one of success; None where it was refused or patience ended."""
        key = str(uuid.uuid4())
        started = time.monotonic()
        while time.monotonic() - started < self.patience_s:
            answer = self._once(path, body, {**headers, "Idempotency-Key": f'"{key}"'})
            if isinstance(answer, str):
                self.sent_again.append(f"{kind}: {answer}")
                time.sleep(WAIT_S)
                continue
            with self.lock:
                self.longest_s = max(self.longest_s, time.monotonic() - started)
                if answer.status == 201:
                    done = Acknowledged(
                        kind=kind, serial=serial, key=key, id=answer.body["id"], path=path, at=time.monotonic()
                    )
                    self.acknowledged.append(done)
                    return answer.body
                self.refused.append(f"{path}: {answer.status} {answer.body}")
                return None
        self.refused.append(f"{path}: no answer within {self.patience_s} s")
        return None

    def _once(self, path: str, body: Any, headers: dict[str, str]) -> NodeAnswer | str:
        """The answer, or why the request has to be sent again."""
        try:
            answer: NodeAnswer = self.client.send("POST", path, body, headers, timeout=self.timeout_s)
        except (OSError, HTTPException) as failed:
            return repr(failed)
        still_running = answer.status == 409 and answer.body.get("type") == "/problems/still-running"
        return f"{answer.status} {answer.body}" if answer.status >= 500 or still_running else answer
