"""What every operation of the API has in common, tried on each of them with a request that would otherwise succeed."""

import json
from typing import Any

import pytest
from django.db import transaction

from tests.api_client import operations
from tests.builders import administrator
from tests.deploy.matrix import AccessRow, api_rows
from tests.deploy.test_matrix import EveryState, make_every_state

STALE = f'"{"0" * 64}"'


@pytest.fixture
def world(db):
    return make_every_state()


def ask(world: EveryState, row: AccessRow, *, query: str = "", media_type: str = "application/json", without: str = "",
        match: str = "*", **more: Any) -> Any:  # fmt: skip
    """The answer to the right person; what it did is undone. without: a header left out; more: fields of the body."""
    person = administrator() if row.right == "administrator" else getattr(world.cast, row.right)
    client, _ = world.way("right", person)
    headers = {"Idempotency-Key": '"every"', "If-Match": match}
    headers.pop(without, None)
    path = world.filled(f"/api/v1/{row.path}")
    body = world.filled(json.dumps({**row.body, **more})) if row.method in ("POST", "PATCH") else b""
    with transaction.atomic():
        answer = client.generic(
            row.method, f"{path}{'&' if '?' in path else '?'}{query}", body, content_type=media_type, headers=headers
        )
        transaction.set_rollback(True)
    return answer


def told(answer: Any) -> tuple[int, list[tuple[str, str]]]:
    """The status, and what is wrong: its place and its code."""
    body = json.loads(answer.getvalue())
    return answer.status_code, [(next(iter(each.values())), each["code"]) for each in body["errors"]]


def those_who_need(header: str) -> set[str]:
    """The operations that need a header, as the document has it."""
    return {
        operation["operationId"] for _, _, operation in operations()
        if header in [each["name"] for each in operation.get("parameters", []) if each.get("required")]
    }  # fmt: skip


def test_each_refuses_a_parameter_that_it_does_not_know(world):
    wanted = (400, [("nonesuch", "unknown_parameter")])
    found = {row.name: told(ask(world, row, query="nonesuch=1")) for row in api_rows(world.cast)}
    assert {name: was for name, was in found.items() if was != wanted} == {}


def test_each_that_takes_a_body_refuses_what_is_not_its_form(world):
    for row in api_rows(world.cast):
        if row.method in ("POST", "PATCH"):
            assert told(ask(world, row, nonesuch=1)) == (400, [("/nonesuch", "unknown_field")]), row.name
            assert told(ask(world, row, media_type="text/plain")) == (415, []), row.name


def test_each_that_needs_a_header_says_so(world):
    rows = {row.name: row for row in api_rows(world.cast)}
    for name in those_who_need("Idempotency-Key"):
        wanted = (400, [("Idempotency-Key", "key_missing")])
        assert told(ask(world, rows[name], without="Idempotency-Key")) == wanted, name
    # Whoever may see a record is told that it moved on; a machine is seen by who is posted at its site.
    for name in those_who_need("If-Match") - {"machines_change"}:
        assert told(ask(world, rows[name], without="If-Match")) == (428, [("If-Match", "match_missing")]), name
        assert told(ask(world, rows[name], match=STALE)) == (412, [("If-Match", "stale")]), name
