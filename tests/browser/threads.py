"""Records made beside a browser: in the test's own thread Playwright's event loop runs, in which no other can start."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from django.db import connections

from tests import worlds

Made = TypeVar("Made")


def in_a_thread(make: Callable[[], Made]) -> Made:
    """What `make` makes, made in a thread of its own."""
    with ThreadPoolExecutor(1) as thread:
        made = thread.submit(_waited_for, make).result()
        thread.submit(connections.close_all).result()
    return made


def _waited_for(make: Callable[[], Made]) -> Made:
    with worlds.in_this_thread():
        return make()
