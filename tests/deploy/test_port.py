"""The demo script's two questions about its port."""

import socket
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from deploy import port


class Refusing(BaseHTTPRequestHandler):
    def do_GET(self) -> None:  # the name that http.server asks for
        self.send_error(404)

    def log_message(self, *args: object) -> None:
        """Say nothing."""


@pytest.fixture
def server():
    with HTTPServer((port.HOST, 0), Refusing) as serving:
        threading.Thread(target=serving.serve_forever, daemon=True).start()
        yield serving
        serving.shutdown()


@pytest.fixture
def unused():
    with socket.socket() as probe:
        probe.bind((port.HOST, 0))
        found: int = probe.getsockname()[1]
    return found


def test_a_port_that_is_served_is_not_free_and_answers_whatever_the_status(server):
    assert (port.is_free(server.server_port), port.answers_in_time(server.server_port)) == (False, True)


def test_a_port_that_nobody_uses_is_free_and_does_not_answer(unused):
    assert (port.is_free(unused), port.answers_in_time(unused, wait_s=0)) == (True, False)


@pytest.mark.parametrize("text", ["", "web", "-1", "0", "70000"])
def test_what_is_no_port_is_not_free(text):
    assert not port.main("free", text)
