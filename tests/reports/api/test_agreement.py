import pytest

from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in, on_the_day
from tests.reports.first_readings import bring_in_many

__all__ = ["on_the_day"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
PATH = "/api/v1/reports/agreement"


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    for number in range(1, 5):
        builders.make_reel(f"LW-{number:04}")
    bring_in_many(cast, 80)
    return cast


def told(person, query=""):
    answer = logged_in(person).get(PATH + query)
    assert answer.status_code == 200
    return answer.json()


def test_it_holds_the_figures_of_the_page(cast):
    body = told(cast.verifier)
    assert (body["compare"], body["is_cut_off"], body["all"]["pairs"]) == ("methods", False, 80)
    assert body["all"]["lower_limit"]["value"] < body["all"]["bias"]["value"] < body["all"]["upper_limit"]["value"]
    [worn] = [row for row in body["groups"] if row["group"] == "WG-04"]
    assert (worn["group_by"], worn["stands_out"], worn["figures"]["pairs"]) == ("gauge", True, 20)
    assert {row["point"]: row["kappa"] is None for row in body["points"]} == {
        "open_side": True, "scale_left": True, "scale_right": True, "hand_count": True, "gauge": False,
        "crossover": False,
    }  # fmt: skip


def test_names_are_given_to_whoever_verifies_there_and_else_numbers(cast):
    def people(person):
        return [row["group"] for row in told(person, "?compare=hand")["groups"] if row["group_by"] == "technician"]

    assert people(cast.verifier) == ["Tess Hollin"]
    assert people(cast.colleague) == []
    assert {"group_by": "technician", "people": 1, "standing_out": 0} in told(cast.colleague)["unnamed"]


def test_without_pairs_the_figures_are_null(cast):
    body = told(cast.stranger)
    assert body["all"] == {
        "pairs": 0, "equal": 0, "share_equal": None, "bias": None, "sd": None, "lower_limit": None,
        "upper_limit": None, "sample": "too_few",
    }  # fmt: skip
    assert body["groups"] == []


@pytest.mark.parametrize("query", ["?compare=feelings", "?since=yesterday", "?name=tess"])
def test_a_parameter_that_makes_no_sense_is_refused_by_name(cast, query):
    answer = logged_in(cast.verifier).get(PATH + query)
    assert (answer.status_code, query[1:].split("=")[0] in answer.content.decode()) == (400, True)
