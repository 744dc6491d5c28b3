"""Starting, asking and ending the processes of a deployment."""

import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from pathlib import Path
from typing import Any

HOME = Path(__file__).resolve().parents[2]
SERVER = HOME / "deploy" / "server"
HOST = "records.example.org"
# As systemd does: the socket becomes descriptor 3 of the very process that LISTEN_PID names.
HAND_OVER = """import os, sys
os.dup2(int(sys.argv[1]), 3)
os.environ.update(LISTEN_FDS="1", LISTEN_PID=str(os.getpid()))
os.execv(sys.executable, [sys.executable, *sys.argv[2:]])
"""
METRICS_TOKEN = "an-invented-metrics-token"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_until(holds: Callable[[], object], what: str, within_s: float = 30) -> float:
    """Wait until it holds; how many seconds that took. An assertion fails when it does not."""
    started = time.monotonic()
    while not holds():
        assert time.monotonic() - started < within_s, f"not within {within_s} s: {what}"
        time.sleep(0.05)
    return time.monotonic() - started


def settings_of(folder: Path, database_url: str) -> dict[str, str]:
    """A production's environment, its keys and other files in the folder."""
    (folder / "secret_key").write_text("an-invented-key-of-more-than-fifty-different-characters-0123456789")
    (folder / "metrics_token").write_text(METRICS_TOKEN)
    return {
        **{name: value for name, value in os.environ.items() if not name.startswith(("DJANGO", "DATABASE"))},
        "WRAPLEDGER_ENV": "production", "DATABASE_URL": database_url, "SECRET_KEY_FILE": str(folder / "secret_key"),
        "METRICS_TOKEN_FILE": str(folder / "metrics_token"), "ALLOWED_HOSTS": f"{HOST},127.0.0.1",
        "STATIC_ROOT": str(folder / "static"), "CHECKPOINT_KEY_FILE": str(folder / "checkpoint_key.pem"),
        "WEB_PROCESSES": "2", "PROXIES": "1", "REQUEST_RATE": "", "LOGIN_RATE": "",
    }  # fmt: skip


def python(env: dict[str, str], *arguments: str, given: str | None = None) -> str:
    """Run one of the project's commands; its output. An assertion fails when it fails."""
    done = subprocess.run(
        [sys.executable, *arguments], cwd=HOME, env=env, input=given, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, (
        f"{arguments} ended with {done.returncode}:\n{done.stdout[-2000:]}\n{done.stderr[-4000:]}"
    )
    return done.stdout


def manage(env: dict[str, str], *arguments: str) -> str:
    return python(env, "manage.py", *arguments)


class Node:
    """A node of the service as deploy/server starts it. With a socket, that one is handed over as systemd does."""

    def __init__(self, env: dict[str, str], port: int | None = None, handed_over: socket.socket | None = None,
                 application: str = "deploy.wsgi") -> None:  # fmt: skip
        self.handed_over = handed_over
        self.port = handed_over.getsockname()[1] if handed_over else port or free_port()
        self.env = {**env, "BIND": f"127.0.0.1:{self.port}"}
        self.application = application
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> "Node":
        command = [sys.executable, "-m", "gunicorn", "--config", "deploy/server/gunicorn_conf.py", self.application]
        passed: dict[str, Any] = {}
        if self.handed_over:
            taken = self.handed_over.fileno()
            command, passed = [sys.executable, "-c", HAND_OVER, str(taken), *command[1:]], {"pass_fds": [taken]}
        log = Path(self.env["STATIC_ROOT"]).parent / f"node-{self.port}.log"
        with log.open("ab") as out:
            self.process = subprocess.Popen(
                command, cwd=HOME, env=self.env, stdout=out, stderr=out, start_new_session=True, **passed
            )
        self.log = log
        return self

    def ready(self, within_s: float = 60) -> "Node":
        wait_until(self.is_ready, f"node {self.port} is ready", within_s)
        return self

    def is_ready(self) -> bool:
        with suppress(OSError, HTTPException):
            return plain(self.port, "/readyz").status == 200
        return False

    def is_alive(self) -> bool:
        with suppress(OSError, HTTPException):
            return plain(self.port, "/healthz").status == 200
        return False

    def workers(self) -> list[int]:
        assert self.process is not None
        pid = self.process.pid
        with suppress(OSError):
            return [int(each) for each in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
        return []

    def reload(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGHUP)

    def kill(self) -> None:
        """`kill -9` of the whole node."""
        assert self.process is not None
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.kill()


class NodeAnswer:
    """What came back. body: the value of JSON, else the text."""

    def __init__(self, response: Any) -> None:
        self.status: int = response.status
        self.headers = dict(response.headers)
        text = response.read().decode(errors="replace")
        self.body: Any = json.loads(text) if "json" in self.headers.get("Content-Type", "") else text


def plain(port: int, path: str, headers: dict[str, str] | None = None) -> NodeAnswer:
    """A GET of a node itself."""
    link = HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        link.request("GET", path, headers=headers or {})
        return NodeAnswer(link.getresponse())
    finally:
        link.close()


class Tls:
    """A client of the proxy, which trusts its certificate and no other; a connection for each request."""

    def __init__(self, port: int, certificate: Path) -> None:
        self.port = port
        self.context = ssl.create_default_context(cafile=str(certificate))

    def connect(self, timeout: float) -> HTTPSConnection:
        link = HTTPSConnection(HOST, self.port, timeout=timeout, context=self.context)
        link.sock = self.context.wrap_socket(
            socket.create_connection(("127.0.0.1", self.port), timeout=timeout), server_hostname=HOST
        )
        return link

    def send(
        self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None, timeout: float = 60
    ) -> NodeAnswer:
        """Raises OSError or HTTPException when there is no answer."""
        link = self.connect(timeout)
        try:
            content = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
            link.request(method, path, content, {"Content-Type": "application/json", **(headers or {})})
            return NodeAnswer(link.getresponse())
        finally:
            link.close()


class Direct:
    """The same without TLS, straight to a node, as the proxy asks it."""

    def __init__(self, port: int) -> None:
        self.port = port

    def send(
        self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None, timeout: float = 60
    ) -> NodeAnswer:
        """Raises OSError or HTTPException when there is no answer."""
        link = HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        try:
            content = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
            own = {"Host": HOST, "X-Forwarded-Proto": "https", "Content-Type": "application/json"}
            link.request(method, path, content, {**own, **(headers or {})})
            return NodeAnswer(link.getresponse())
        finally:
            link.close()


def make_certificate(folder: Path, host: str) -> Path:
    """tls.crt and tls.key for that name, signed by itself."""
    certificate = folder / "tls.crt"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={host}", "-addext",
         f"subjectAltName=DNS:{host}", "-keyout", str(folder / "tls.key"), "-out", str(certificate)],
        check=True, capture_output=True,
    )  # fmt: skip
    return certificate


@contextmanager
def proxy(folder: Path, nodes: list[int]) -> Iterator[Tls]:
    """nginx with deploy/server/nginx.conf, its host's certificate, and these nodes, on a port of its own."""
    port, plain_port = free_port(), free_port()
    certificate = make_certificate(folder, HOST)
    server = "    server 127.0.0.1:{} max_fails=1 fail_timeout=5s;\n"
    site = (SERVER / "nginx.conf").read_text()
    for ours, theirs in {
        server.format(8001) + server.format(8002): "".join(server.format(each) for each in nodes),
        "listen 443 ssl": f"listen 127.0.0.1:{port} ssl", "listen 80;": f"listen 127.0.0.1:{plain_port};",
        "/etc/wrapledger/": f"{folder}/", "/var/log/nginx/": f"{folder}/",
    }.items():  # fmt: skip
        assert ours in site, ours
        site = site.replace(ours, theirs)
    (folder / "site.conf").write_text(site)
    temporary = "".join(
        f"{name}_temp_path {folder}/{name};" for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    (folder / "nginx.conf").write_text(
        f"daemon off; pid {folder}/nginx.pid; error_log {folder}/nginx-error.log warn;\n"
        "events { worker_connections 4096; }\n"
        f"http {{ {temporary} include {folder}/site.conf; }}\n"
    )
    if os.geteuid() == 0:
        for each in (folder, *folder.parents[:-2]):
            each.chmod(0o755)
    process = subprocess.Popen(["nginx", "-p", str(folder), "-c", str(folder / "nginx.conf")], start_new_session=True)
    try:
        wait_until(lambda: answers_at(port), "nginx listens")
        yield Tls(port, certificate)
    finally:
        process.terminate()
        process.wait(10)


def answers_at(port: int) -> bool:
    with suppress(OSError):
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
        return True
    return False
