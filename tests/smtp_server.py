"""A mail server of a few lines (RFC 5321, the part that a sender needs), on a socket of its own, for tests."""

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage

CRLF = b"\r\n"


@dataclass
class MailServer:
    """refuses: recipients that are answered with 550; lets_go: close without an answer after a mail is taken.

    tls: what it encrypts with, from the first byte if at_once, or when it is asked to (RFC 3207). Every login is good.
    """

    port: int = 0
    tls: ssl.SSLContext | None = None
    at_once: bool = False
    greeting: str = "220 mail.example ready"
    refuses: set[str] = field(default_factory=set)
    at_data: str = "250 taken"
    lets_go: bool = False
    mails: list[tuple[str, EmailMessage]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def recipients(self) -> list[str]:
        return [recipient for recipient, _ in self.mails]

    @property
    def subjects(self) -> list[str]:
        return [str(mail["Subject"]) for _, mail in self.mails]

    def talk(self, client: socket.socket) -> None:
        """One conversation, to its end."""
        if self.tls and self.at_once:
            client = self.tls.wrap_socket(client, server_side=True)
        self._say(client, self.greeting)
        self._go_on(client)

    def _go_on(self, client: socket.socket) -> None:
        with client, client.makefile("rb") as lines:
            recipient = ""
            for line in lines:
                command = line.decode().strip()
                with self._lock:
                    self.said.append(command)
                match command[:4].upper():
                    case "EHLO" | "HELO":
                        self._say(client, *self._offers(client))
                    case "STAR" if self.tls:
                        self._say(client, "220 go on")
                        self._go_on(self.tls.wrap_socket(client, server_side=True))
                        return
                    case "RCPT":
                        recipient = command.partition("<")[2].partition(">")[0]
                        self._say(client, "550 nobody here" if recipient in self.refuses else "250 known")
                    case "DATA":
                        self._say(client, "354 go on")
                        if not self._take(client, lines, recipient):
                            return
                    case "QUIT":
                        self._say(client, "221 bye")
                        return
                    case other:
                        self._say(client, "235 welcome" if other == "AUTH" else "250 ok")

    def _offers(self, client: socket.socket) -> tuple[str, ...]:
        if isinstance(client, ssl.SSLSocket):
            return "250-mail.example", "250 AUTH PLAIN"
        return ("250-mail.example", "250 STARTTLS") if self.tls else ("250 mail.example",)

    def _take(self, client: socket.socket, lines: Iterator[bytes], recipient: str) -> bool:
        content = b""
        for line in lines:
            if line == b"." + CRLF:
                break
            content += line.removeprefix(b".")
        if self.at_data.startswith("2"):
            parsed = message_from_bytes(content, policy=policy.default)
            assert isinstance(parsed, EmailMessage)
            with self._lock:
                self.mails.append((recipient, parsed))
        if self.lets_go:
            return False
        self._say(client, self.at_data)
        return True

    @staticmethod
    def _say(client: socket.socket, *lines: str) -> None:
        client.sendall(b"".join(line.encode() + CRLF for line in lines))


@contextmanager
def mail_server() -> Iterator[MailServer]:
    """A server that takes every mail until it is told otherwise."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        server = MailServer(port=listening.getsockname()[1])
        talks: list[threading.Thread] = []

        def serve() -> None:
            while True:
                try:
                    client, _ = listening.accept()
                except OSError:
                    return
                client.settimeout(20)
                talks.append(threading.Thread(target=_quietly, args=(server, client)))
                talks[-1].start()

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield server
        finally:
            listening.shutdown(socket.SHUT_RDWR)
            for each in (thread, *talks):
                each.join(30)


def _quietly(server: MailServer, client: socket.socket) -> None:
    with suppress(ConnectionError, ssl.SSLError):
        server.talk(client)
