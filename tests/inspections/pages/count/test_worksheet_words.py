"""The words of its type that stand where a half, a face or a scale is asked for."""

from html import unescape

import pytest

from tests import builders
from tests.inspections.pages.count.test_worksheet import both_key, witness, worksheet
from tests.inspections.pages.count.worksheet_steps import CROSSOVER, GAUGE, PLATE, SCALES, SEEN, page_of, send
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]


def test_where_the_half_is_asked_each_stands_with_the_side_of_the_drum_that_it_is(cast, inspection):
    for step in range(PLATE, CROSSOVER):
        both_key(cast, inspection, step)
    html = unescape(page_of(logged_in(cast.verifier), witness(inspection)))
    for words in ("first half: the aft side of the drum", "second half: the forward side of the drum",
                  "With the scale line at the bottom, as installed",
                  "A crossover exactly opposite the scale line goes with the second half."):  # fmt: skip
        assert words in html


def test_a_type_whose_arc_is_no_half_turn_is_asked_for_degrees_and_its_marks_stand_beside_odd_and_even(cast):
    of_type = builders.make_type(
        "said", arc_to_deg=120, arc_publication="LWS 12-4", graduation="by_side", odd_face_mark="one notch",
        even_scale_mark="cut in brass",
    )  # fmt: skip
    builders.make_reel("LW-0002", type=of_type)
    count = builders.open_count(cast, "LW-0002")
    technician, parts = logged_in(cast.technician), {}
    for step in range(PLATE, CROSSOVER):
        parts[step] = unescape(page_of(technician, worksheet(count)))
        seen = {"serial": "LW-0002"} if step == PLATE else {"scale_left_left_out": "on"} if step == SCALES else {}
        changed = {**SEEN[step], **seen}
        if step == SCALES:
            del changed["scale_left"]
        assert send(technician, worksheet(count), **changed).status_code == 302
        hold_points = {name: value for name, value in changed.items() if name != "unwind"}
        assert send(logged_in(cast.verifier), witness(count), **hold_points).status_code == 302
    assert "It carries the numbers that are even (cut in brass)." in parts[SCALES]
    assert "odd (one notch)" in parts[GAUGE]
    send(technician, worksheet(count), crossover_deg="90.5")
    assert '"crossover_half"' not in page_of(logged_in(cast.verifier), witness(count))
    send(logged_in(cast.verifier), witness(count), crossover_deg="91")
    count.refresh_from_db()
    assert (count.layers, count.wraps) == (12, 10)
    shown = unescape(page_of(logged_in(cast.colleague), f"/inspections/{count.pk}"))
    assert "90.5°" in shown
    assert "12 on the even face" in shown
