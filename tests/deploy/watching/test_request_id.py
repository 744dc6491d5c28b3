"""Every answer and every problem document carries the id under which the log tells of the request."""

import pytest
from django.test import Client


@pytest.mark.parametrize("given", ["0af7651916cd43dd8448eb211c80319c", "from-the-proxy-1"])
def test_the_id_that_the_proxy_gave_is_kept(given):
    response = Client().get("/healthz", headers={"X-Request-ID": given})
    assert response.headers["X-Request-ID"] == given


@pytest.mark.parametrize("given", ["", "short", "a b c d e f g h", 'x"}\n{"forged": "line', "a" * 65])
def test_what_has_not_the_shape_of_an_id_is_replaced(given):
    response = Client().get("/healthz", headers={"X-Request-ID": given})
    assert response.headers["X-Request-ID"] != given
    assert len(response.headers["X-Request-ID"]) == 32


def test_two_requests_have_two_ids():
    client = Client()
    assert client.get("/healthz").headers["X-Request-ID"] != client.get("/healthz").headers["X-Request-ID"]


def test_a_problem_document_carries_it(db):
    response = Client().get("/api/v1/reels", headers={"X-Request-ID": "the-very-one"})
    assert (response.status_code, response.json()["request_id"]) == (401, "the-very-one")
