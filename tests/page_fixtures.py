"""Fixtures of the tests of pages; each folder of them names these in its conftest."""

import re
import uuid
from collections.abc import Iterator
from html import unescape
from typing import Any
from unittest import mock

import pytest
import time_machine
from django.db import connection
from django.template.backends.django import Template
from django.test import Client

from reels.models import Person
from tests.builders import NOW


def refuse_queries(execute: Any, sql: str, *_: Any) -> Any:
    raise AssertionError(f"a query while a template is rendered: {sql}")


@pytest.fixture
def no_query_in_a_template() -> Iterator[None]:
    plain_render = Template.render

    def render(self: Template, *args: Any, **kwargs: Any) -> Any:
        with connection.execute_wrapper(refuse_queries):
            return plain_render(self, *args, **kwargs)

    with mock.patch.object(Template, "render", render):
        yield


@pytest.fixture
def on_the_day() -> Iterator[None]:
    """The service's clock stands where the builders' does."""
    with time_machine.travel(NOW, tick=False):
        yield


class PageClient(Client):
    """Posts as a form that was just opened does: with a token of its own, unless the test brings one."""

    def post(self, path: str, data: Any = None, *args: Any, **options: Any) -> Any:  # type: ignore[override]
        data = {} if data is None else data
        return super().post(path, {"token": str(uuid.uuid4()), **data}, *args, **options)


HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)"')


def hidden_in(html: str) -> dict[str, Any]:
    """What a page's form holds that nobody types; of a page with several, of the last."""
    return {name: unescape(value) for name, value in HIDDEN.findall(html)}


def logged_in(person: Person) -> PageClient:
    client = PageClient()
    client.force_login(person)
    return client
