"""For the demo script: `port.py free PORT` and `port.py wait PORT` exit 0 when that is so. Standard library only."""

import http.client
import socket
import sys
import time

HOST = "127.0.0.1"
WAIT_S = 30.0


def is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except (OSError, OverflowError):  # taken, ours to ask root for, or no port at all
            return False
    return True


def answers(port: int) -> bool:
    """Whether a web server answers there; with what does not matter. No proxy is asked."""
    connection = http.client.HTTPConnection(HOST, port, timeout=5)
    try:
        connection.request("GET", "/login")
        connection.getresponse()
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()
    return True


def answers_in_time(port: int, wait_s: float = WAIT_S) -> bool:
    deadline = time.monotonic() + wait_s
    while not answers(port):
        if time.monotonic() > deadline:
            return False
        time.sleep(0.1)
    return True


def main(question: str, port: str) -> bool:
    return port.isdecimal() and int(port) > 0 and {"free": is_free, "wait": answers_in_time}[question](int(port))


if __name__ == "__main__":
    sys.exit(not main(*sys.argv[1:]))
