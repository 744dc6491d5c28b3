"""The service behind a real gunicorn, on the test's own database, and a plain client of it."""

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.db import connection
from django.test import Client

from reels.models import Person

START_S = 60
CSRF = "a" * 32


@dataclass(frozen=True, slots=True, kw_only=True)
class ServedAnswer:
    status: int
    body: Any
    etag: str | None


@dataclass(frozen=True, slots=True)
class Server:
    """Where it listens."""

    port: int

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def send(self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None) -> ServedAnswer:
        """One request. Raises ConnectionError or HTTPException when there is no answer."""
        link = HTTPConnection("127.0.0.1", self.port, timeout=START_S)
        try:
            content = None if body is None else json.dumps(body)
            link.request(method, f"/api/v1/{path}", content, {"Content-Type": "application/json", **(headers or {})})
            response = link.getresponse()
            return ServedAnswer(status=response.status, body=json.loads(response.read()), etag=response.headers["ETag"])
        finally:
            link.close()


def session_of(person: Person) -> dict[str, str]:
    """The headers of somebody who is logged in."""
    client = Client()
    client.force_login(person)
    name = settings.SESSION_COOKIE_NAME
    return {"Cookie": f"{name}={client.cookies[name].value}; {settings.CSRF_COOKIE_NAME}={CSRF}", "X-CSRFToken": CSRF}


@contextmanager
def gunicorn(workers: int = 2, **settings_of_it: str) -> Iterator[Server]:
    """A real server with processes of its own, until the block ends. settings_of_it: as its environment has them."""
    port = _free_port()
    command = [sys.executable, "-m", "gunicorn", "tests.served_app", "-c", "python:deploy.serving", "--bind",
               f"127.0.0.1:{port}", "--workers", str(workers), "--log-level", "critical",
               "--no-control-socket", "--preload"]  # fmt: skip
    env = {**os.environ, "DATABASE_URL": database_url(), "SECRET_KEY": settings.SECRET_KEY, "LOGIN_RATE": "",
           "REQUEST_RATE": "", "AS_OF_RATE": "", **settings_of_it}  # fmt: skip
    with subprocess.Popen(command, cwd=settings.HOME, env=env) as process:
        try:
            _wait_for(port)
            yield Server(port)
        finally:
            process.terminate()


def at_once(*requests: Callable[[], Any]) -> list[Any]:
    """Run requests in threads that start together; their answers in order."""
    start, answers = threading.Barrier(len(requests)), [None] * len(requests)

    def run(number: int) -> None:
        start.wait(10)
        answers[number] = requests[number]()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(requests))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return answers


def database_url() -> str:
    found = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{found['NAME']}"
    login = quote(found["USER"]) + (f":{quote(found['PASSWORD'])}" if found["PASSWORD"] else "")
    port = f":{found['PORT']}" if found["PORT"] else ""
    return f"postgres://{login}@{quote(found['HOST'], safe='')}{port}/{found['NAME']}"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_for(port: int) -> None:
    until = time.monotonic() + START_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.05)
