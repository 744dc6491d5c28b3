"""What anybody who holds a document may ask: whether it stands, and nothing else."""

import pytest
from django.core.cache import cache
from django.test import Client

from inspections.models import Inspection
from inspections.services import maintenance, signing
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast
from tests.page_fixtures import on_the_day

__all__ = ["on_the_day"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def cast():
    cast = Cast()
    builders.make_reel("LW-0001")
    builders.signed_count(cast, "LW-0001")
    return cast


@pytest.fixture(autouse=True)
def nobody_asked_before():
    cache.clear()
    yield
    cache.clear()


def digest():
    return Inspection.objects.latest("pk").record.digest


def told(path):
    answer = Client().get(f"/stands/{path}")
    return answer.status_code, answer.content.decode()


def test_a_record_stands_for_whoever_holds_its_digest(cast):
    status, page = told(digest())
    assert status == 200
    assert "<h1>Stands</h1>" in page


def test_nothing_else_is_told(cast):
    count = Inspection.objects.latest("pk")
    _, page = told(digest())
    for secret in (
        "LW-0001",
        cast.technician.full_name,
        count.reel.site.name,
        f"{count.layers} layers",
        count.record.digest,
    ):
        assert secret not in page


def test_what_the_code_says_besides_the_digest_is_not_repeated(cast):
    status, page = told(f"{digest()}/7/voided/20300101T000000Z")
    assert (status, "20300101" in page) == (200, False)
    assert "<h1>Stands</h1>" in page


def test_a_voided_record_is_voided(cast):
    count = Inspection.objects.latest("pk")
    signing.request_void(inspection_id=count.pk, reason="wrong reel", actor=Actor(cast.verifier), at=NOW)
    signing.confirm_void(inspection_id=count.pk, actor=Actor(cast.releaser), at=NOW)
    assert "<h1>Voided</h1>" in told(digest())[1]


def test_withdrawn_values_are_withdrawn_and_only_by_the_digest_of_their_own_count(cast):
    values = builders.issued(cast, "LW-0001", "RM-7")
    assert "<h1>Stands</h1>" in told(f"{digest()}/values/{values.pk}")[1]
    maintenance.place_hold(serial="LW-0001", reason="looked at", actor=Actor(cast.control), at=NOW)
    assert "<h1>Withdrawn</h1>" in told(f"{digest()}/values/{values.pk}")[1]
    assert told(f"{'ab' * 32}/values/{values.pk}")[0] == 404


@pytest.mark.parametrize("unknown", ["ab" * 32, "LW-0001", "1"])
def test_what_is_no_digest_of_a_record_is_not_there(cast, unknown):
    assert told(unknown)[0] == 404


def test_asking_has_a_rate_of_its_own(cast, settings):
    settings.RATES = {"login": "", "request": "", "as_of": "", "stands": "2/min"}
    assert [told(digest())[0] for _ in range(3)] == [200, 200, 429]
    assert Client().get("/login").status_code == 200
