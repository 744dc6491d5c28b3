"""The OpenAPI document: made from the code, committed, valid, served, and read by people."""

from io import StringIO

import pytest
import yaml
from django.core.management import call_command
from django.test import Client
from jsonschema import Draft202012Validator

from tests.api_client import DOCUMENT, document, operations, said


@pytest.fixture(scope="module")
def made():
    out = StringIO()
    call_command("spectacular", "--api-version", "v1", "--validate", "--fail-on-warn", stdout=out)
    return out.getvalue()


def test_the_committed_document_is_what_the_code_makes(made):
    """If this fails: manage.py spectacular --api-version v1 --file deploy/handbook/openapi.yaml, and read the diff."""
    assert made.strip() == DOCUMENT.read_text(encoding="utf-8").strip()


def test_it_is_openapi_3_1_and_every_schema_is_a_schema():
    assert document()["openapi"].startswith("3.1")
    for schema in document()["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)


def test_operations_have_names_of_one_kind():
    names = [operation["operationId"] for _, _, operation in operations()]
    assert len(names) == len(set(names))
    assert [name for name in names if not name.replace("_", "").islower()] == []


def test_every_write_asks_for_a_key_but_for_those_that_tell_nothing_of_a_reel():
    without = {
        operation["operationId"]
        for _, method, operation in operations()
        if method == "POST" and "Idempotency-Key" not in [each["name"] for each in operation.get("parameters", [])]
    }
    assert without == {
        "session_begin", "session_password", "session_second_factor_begin", "session_second_factor_confirm",
        "session_second_factor_end", "workings_show",
    }  # fmt: skip


def test_it_is_served(ways):
    assert ways.colleague.get("openapi").json() == yaml.safe_load(DOCUMENT.read_text(encoding="utf-8"))
    said(ways.nobody.get("openapi"), 401, "not_logged_in")


def test_the_page_of_reference_names_every_operation_and_runs_nothing(cast):
    client = Client()
    assert client.get("/reference").status_code == 302
    client.force_login(cast.colleague)
    response = client.get("/reference")
    page = response.content.decode()
    for _, method, operation in operations():
        assert f'id="{operation["operationId"]}"' in page
        assert f"{method} /api/v1/" in page
    assert "<script" not in page
    assert "style=" not in page
    assert "'unsafe-inline'" not in response.headers["Content-Security-Policy"]
