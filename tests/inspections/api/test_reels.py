"""GET and POST /api/v1/reels, GET /api/v1/reels/{serial}."""

import math

import pytest

from inspections.domain.words import Act
from reels.domain.winding import drum_from, length_with_uncertainty
from reels.domain.words import Scope
from reels.models import Reel
from reels.services import register
from tests import builders
from tests.api_client import places, said

NEW = {"serial": "LW-0100", "type": "w28", "site": "kettle-point", "received_on": "2026-01-05", "cable_length_m": "420"}


def serials(answer):
    return [row["serial"] for row in answer.json()["results"]]


def test_a_reel_is_listed_with_where_it_stands(ways):
    [row] = ways.colleague.get("reels").json()["results"]
    assert row == {
        "serial": "LW-0001", "type": "w28", "site": "kettle-point", "status": "awaiting_count",
        "received_on": "2024-03-01", "cable_length_m": "420.000", "part_number": None, "cable_part_number": None,
        "cable_serial": None, "machine": None, "counted_at": None, "layers": None,
        "wraps": None, "length": None, "retired_at": None, "retired_reason": None,
        "count_current_until": None, "count_lapsed_at": None, "count_lapsed_why": None,
    }  # fmt: skip


def test_a_count_is_shown_as_a_length_with_its_uncertainty(ways, cast):
    signed = builders.signed_count(cast)
    assert (signed.layers, signed.wraps) == (12, 10)
    expected = length_with_uncertainty(12, 10, drum_from(vars(signed.reel.type)))
    shown = ways.colleague.get("reels/LW-0001").json()["length"]
    assert shown == {
        "value_m": round(float(expected.value_m), 3), "u_m": round(float(expected.combined_u_m), 3),
        "systematic_u_m": round(float(expected.systematic_u_m), 3),
        "random_u_m": round(float(expected.random_u_m), 3),
    }  # fmt: skip
    # 28 and 27 wraps of 10 mm cable on a core of 300 mm, nested: twelve layers and ten wraps, worked out by hand
    by_hand = sum((28 if k % 2 else 27) * math.pi * (310 + 2 * (k - 1) * 8.660254) for k in range(1, 13))
    assert shown["value_m"] == pytest.approx((by_hand + 10 * math.pi * (310 + 24 * 8.660254)) / 1000, rel=2e-4)
    assert shown["systematic_u_m"] > shown["random_u_m"] > 0.3  # the rise was never measured
    assert ways.colleague.get("reels").json()["results"][0]["length"] == shown
    assert ways.colleague.get(f"inspections/{signed.pk}").json()["length"] == shown


def test_a_count_that_the_type_no_longer_holds_has_no_length(ways, cast):
    signed = builders.signed_count(cast)
    register.change(signed.reel.type, max_layers=9, **builders.by_administrator())
    assert ways.colleague.get("reels/LW-0001").json()["length"] is None


def test_reels_are_found_by_site_type_status_and_part_of_the_serial(ways, cast):
    builders.make_reel("LW-0002", type=builders.make_type("w40"))
    builders.open_count(cast)
    assert serials(ways.colleague.get("reels?status=count_open")) == ["LW-0001"]
    assert serials(ways.colleague.get("reels?type=w40")) == ["LW-0002"]
    assert serials(ways.colleague.get("reels?q=0002")) == ["LW-0002"]
    assert serials(ways.colleague.get("reels?site=kettle-point&q=lw")) == ["LW-0001", "LW-0002"]
    assert serials(ways.colleague.get("reels?site=aldermere")) == []


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("colour=red", "colour"), ("status=lost", "status"), ("page_size=0", "page_size"),
        ("page_size=201", "page_size"),
        ("page_size=x", "page_size"), ("cursor=nonsense", "cursor"), ("cursor=WyJhIl0", "cursor"), ("site=", "site"),
        ("q=a&q=b", "q"), ("q=%00", "q"), ("cursor=WyJcdTAwMDAiLDFd", "cursor"), ("cursor=W3t9LDFd", "cursor"),
    ],
)  # fmt: skip
def test_a_parameter_that_is_not_known_or_wrong_is_refused_by_name(ways, query, parameter):
    answer = ways.colleague.get(f"reels?{query}")
    said(answer, 400, "invalid_input")
    assert places(answer) == [parameter]


def test_reels_of_other_sites_are_as_if_they_were_not_there(ways):
    assert serials(ways.stranger.get("reels")) == []
    said(ways.stranger.get("reels/LW-0001"), 404, "not_found")
    said(ways.colleague.get("reels/LW-9999"), 404, "not_found")
    said(ways.colleague.get("reels/LW%00"), 404, "not_found")


def test_a_list_costs_the_same_for_one_as_for_thirty(ways, count_queries):
    ways.colleague.get("reels")
    one = count_queries(lambda: ways.colleague.get("reels"))
    for number in range(2, 31):
        builders.make_reel(f"LW-{number:04}")
    many = count_queries(lambda: ways.colleague.get("reels"))
    assert one == many == 4  # session, person, postings, reels with their status


def test_pages_neither_repeat_nor_drop_when_a_row_comes_in_between(ways):
    for number in (2, 4, 6, 8):
        builders.make_reel(f"LW-{number:04}")
    first = ways.colleague.get("reels?page_size=2&q=LW")
    builders.make_reel("LW-0000")
    builders.make_reel("LW-0005")
    second = ways.colleague.get(first.json()["next"])
    third = ways.colleague.get(second.json()["next"])
    assert [serials(page) for page in (first, second, third)] == [
        ["LW-0001", "LW-0002"], ["LW-0004", "LW-0005"], ["LW-0006", "LW-0008"],
    ]  # fmt: skip
    assert third.json()["next"] is None


def test_one_reel_tells_what_is_in_force(ways, cast):
    builders.signed_count(cast)
    builders.confirmed(cast, builders.issued(cast))
    reel = ways.colleague.get("reels/LW-0001").json()
    assert reel["installation"]["machine"] == "RM-7"
    assert (reel["setup_values"]["layers"], reel["setup_values"]["wraps"]) == (12, 10)
    assert (reel["hold"], reel["inspection"], reel["length_by_log_m"]) == (None, None, "420.000")


def test_maintenance_control_receives_a_reel(ways):
    answer = ways.control.post("reels", NEW)
    assert answer.status_code == 201
    assert (answer.json()["serial"], answer.json()["status"]) == ("LW-0100", "awaiting_count")
    assert answer.json()["cable_serial"] is None
    said(ways.control.post("reels", NEW), 409, "already_there")


def test_a_reel_may_carry_its_part_numbers(ways):
    numbers = {"part_number": "LWS-350-2", "cable_part_number": "CB-10", "cable_serial": "LOT 7"}
    answer = ways.control.post("reels", {**NEW, **numbers}).json()
    assert {name: answer[name] for name in numbers} == numbers


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"serial": 7}, "/serial"), ({"serial": "a/b"}, "/serial"), ({"serial": " a"}, "/serial"),
        ({"serial": "a\n"}, "/serial"), ({"serial": "x" * 41}, "/serial"), ({"received_on": "5 Jan"}, "/received_on"),
        ({"received_on": "2026-02-30"}, "/received_on"), ({"received_on": "2026-01-05T00:00:00Z"}, "/received_on"),
        ({"cable_length_m": 420}, "/cable_length_m"), ({"cable_length_m": "4e2"}, "/cable_length_m"),
        ({"cable_length_m": "1.2345"}, "/cable_length_m"), ({"cable_length_m": True}, "/cable_length_m"),
        ({"colour": "red"}, "/colour"), ({"received_on": "2999-01-01"}, "/received_on"),
    ],
)  # fmt: skip
def test_a_malformed_body_is_refused(ways, change, pointer):
    answer = ways.control.post("reels", {**NEW, **change})
    assert answer.status_code == 400
    assert places(answer) == [pointer]
    assert Reel.objects.count() == 1


def test_who_may_not_receive(ways, cast, token_way):
    builders.authorise(cast.stranger, Act.MAINTAIN)
    said(ways.nobody.post("reels", NEW), 401, "not_logged_in")
    said(ways.colleague.post("reels", NEW), 403, "not_authorised")
    said(ways.stranger.post("reels", NEW), 404, "not_found")
    said(token_way(cast.control, *Scope).post("reels", NEW), 403, "only_in_person")
    said(ways.control.post("reels", {**NEW, "type": "w99"}), 404, "not_found")
