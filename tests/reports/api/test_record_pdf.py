import pytest

from tests import builders
from tests.builders import Cast
from tests.reports.documented import documents, signed

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return Cast.as_needed()


def path(inspection):
    return f"/api/v1/inspections/{inspection.pk}/record.pdf"


@pytest.mark.parametrize("accept", ["application/pdf", "*/*", "application/json"])
def test_the_document_comes_as_it_was_kept(client, cast, accept):
    inspection = signed(cast)
    client.force_login(cast.colleague)
    answer = client.get(path(inspection), headers={"accept": accept})
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    assert answer.content == bytes(documents(inspection)[0].content)


@pytest.mark.parametrize("accept", ["application/pdf", "application/json"])
def test_refusals_are_problems_whatever_was_asked_for(client, cast, accept):
    builders.make_reel()
    inspection = builders.open_count(cast)
    asked = {"accept": accept}
    assert client.get(path(inspection), headers=asked).status_code in (401, 403)
    client.force_login(cast.stranger)
    hidden = client.get(path(inspection), headers=asked)
    assert (hidden.status_code, hidden.headers["Content-Type"]) == (404, "application/problem+json")
    client.force_login(cast.colleague)
    none_yet = client.get(path(inspection), headers=asked)
    assert (none_yet.status_code, none_yet.json()["type"]) == (409, "/problems/no-document")
