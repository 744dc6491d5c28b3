import re
from html import unescape
from typing import Any

import pytest
from django.test import Client

from inspections import access
from inspections.domain.words import Act, Point
from inspections.models import Inspection, Keying
from inspections.queries.keyings import keyings_of
from inspections.services import counting
from reels.services.history import Actor
from tests import builders
from tests.inspections.pages.count.worksheet_steps import (
    CROSSOVER,
    GAUGE,
    HAND,
    OPEN_SIDE,
    PLATE,
    SCALES,
    SEEN,
    form_in,
    page_of,
    send,
)
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template", "on_the_day")]

BLIND = re.compile("(?<![0-9a-f])77[12](?![0-9a-f])")  # and no part of a digest

PREPARED = {
    "work_order": "WO-7", "in_force": "1", "cautions_confirmed": "on", "turned_as_installed": "on", "marks_found": "on",
    "all_sound": "on",
}  # fmt: skip


def worksheet(inspection):
    return f"/inspections/{inspection.pk}/worksheet"


def witness(inspection):
    return f"/inspections/{inspection.pk}/witness"


def scales_keyed():
    return Keying._base_manager.filter(point__in=[Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND]).count()


def both_key(cast, inspection, step, **verifier):
    seen = SEEN[step]
    hold_points = {name: value for name, value in seen.items() if name != "unwind"}
    assert send(logged_in(cast.technician), worksheet(inspection), **seen).status_code == 302
    assert send(logged_in(cast.verifier), witness(inspection), **{**hold_points, **verifier}).status_code == 302


def test_the_preparation_begins_a_count_and_leads_to_the_worksheet(cast):
    client = logged_in(cast.technician)
    html = page_of(client, "/reels/LW-0001/count")
    assert faults_of(html) == []
    answer = send(client, "/reels/LW-0001/count", **PREPARED)
    [opened] = Inspection._base_manager.all()
    assert answer.headers["Location"] == worksheet(opened)
    assert (opened.work_order, opened.publication, opened.wrap_gauge, opened.from_paper) == (
        "WO-7", "LWS 12-3", "", False
    )  # fmt: skip


def test_a_preparation_that_is_not_complete_says_what_is_missing_and_keeps_the_rest(cast):
    given = {name: value for name, value in PREPARED.items() if name != "all_sound"}
    answer = send(logged_in(cast.technician), "/reels/LW-0001/count", **given)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert faults_of(html) == []
    assert 'role="alert"' in html
    assert "Say that all of it is sound, or what is not." in html
    assert 'value="WO-7"' in html


def test_a_count_from_paper_is_done_when_it_is_said_to_have_been(cast):
    send(logged_in(cast.technician), "/reels/LW-0001/count", **PREPARED, done_at="2026-03-01T15:30")
    [opened] = Inspection._base_manager.all()
    assert (opened.done_at.isoformat(), opened.from_paper) == ("2026-03-01T15:30:00+00:00", True)


def test_nobody_without_an_authorisation_begins_a_count(cast):
    answer = send(logged_in(cast.colleague), "/reels/LW-0001/count", **PREPARED)
    assert answer.status_code == 422
    assert "Noel Grant holds no authorisation to count" in answer.content.decode()
    assert not Inspection._base_manager.exists()


def test_two_people_key_step_by_step_until_the_count_is_worked_out(cast, inspection):
    for step in SEEN:
        html = page_of(logged_in(cast.technician), worksheet(inspection))
        assert faults_of(html) == []
        assert f"Step {step} of 6" in html
        both_key(cast, inspection, step)
    inspection.refresh_from_db()
    assert (inspection.state, inspection.layers, inspection.wraps) == ("awaiting_sign_off", 12, 10)
    assert logged_in(cast.technician).get(worksheet(inspection)).headers["Location"].endswith("/result")


@pytest.mark.usefixtures("at_scales")
def test_a_page_never_holds_what_the_other_keyed_while_it_is_blind(cast, inspection):
    keyed: dict[str, Any] = {"scale_left": "771", "scale_right": "772", "unwind": "right_to_left"}
    asked = [f"{name}={value}" for name, value in keyed.items()]
    assert send(logged_in(cast.technician), worksheet(inspection), **keyed, asked=asked).status_code == 302
    for person in (cast.verifier, cast.colleague, cast.releaser):
        for address in (witness(inspection), worksheet(inspection), f"/inspections/{inspection.pk}",
                        "/reels/LW-0001", "/reels/LW-0001/history", f"/inspections/{inspection.pk}/help",
                        f"/inspections/{inspection.pk}/draft", f"/inspections/{inspection.pk}/stamp"):  # fmt: skip
            assert BLIND.findall(page_of(logged_in(person), address)) == []
    mine = page_of(logged_in(cast.technician), worksheet(inspection))
    assert "scale 771" in mine
    assert "Waiting for the verifier" in mine
    drawn = logged_in(cast.verifier).post(f"/inspections/{inspection.pk}/drawing/verifier", {"scale_left": "5"})
    assert "scale 5" in drawn.content.decode()
    assert BLIND.findall(drawn.content.decode()) == []


@pytest.mark.parametrize("typed", [{}, {"scale_left": "999"}, {"scale_left": "0", "scale_right": "0"},
    {"scale_left": "x"}, {"scale_left": "20", "scale_right": "20", "open_side": "none"},
    {"scale_left": "-1", "unwind": "up"}])  # fmt: skip
def test_the_drawing_bears_whatever_is_typed(cast, inspection, typed):
    for role, person in (("technician", cast.technician), ("verifier", cast.verifier), ("verifier", cast.colleague)):
        answer = logged_in(person).post(f"/inspections/{inspection.pk}/drawing/{role}", typed)
        assert (answer.status_code, answer.content.decode().count("<svg")) == (200, 2)
    assert logged_in(cast.technician).post(f"/inspections/{inspection.pk}/drawing/judge", typed).status_code == 204


@pytest.mark.parametrize("typed", [{"hand_wraps": "999"}, {"hand_wraps": "0"}, {"hand_wraps": ""}])
@pytest.mark.usefixtures("at_scales")
def test_the_drawing_bears_more_wraps_than_a_layer_takes(cast, inspection, typed):
    both_key(cast, inspection, SCALES)
    answer = logged_in(cast.technician).post(f"/inspections/{inspection.pk}/drawing/technician", typed)
    assert answer.status_code == 200


def described(client, address):
    """What the drawings of the reel on a page say, without those of an example."""
    every = re.findall(r"<desc[^>]*>([^<]*)<", unescape(page_of(client, address)))
    return [each for each in every if not each.startswith("An example, not this reel.")]


def test_both_views_stand_at_every_step_and_each_step_shows_how_it_is_read(cast, inspection):
    examples = {
        OPEN_SIDE: "has not reached", SCALES: "lower reading counts", HAND: "counted from", GAUGE: "the even face",
        CROSSOVER: "key the half it lies in",
    }  # fmt: skip
    both_key(cast, inspection, PLATE)
    for step, words in examples.items():
        html = unescape(page_of(logged_in(cast.technician), worksheet(inspection)))
        views = [html.index(f'id="{name}"') for name in ("section-title", "circle-title")]
        assert (views == sorted(views)) is (step != CROSSOVER)  # the view that the step is about stands first
        assert words in html[html.index("How to read it: an example") :]
        assert f"seen from the {inspection.reel.type.reference_side} side" in html
        assert 'style="' not in html
        shown = {role: "as cable leaves" in page_of(logged_in(person), address) for role, person, address in (
            ("technician", cast.technician, worksheet(inspection)), ("verifier", cast.verifier, witness(inspection)),
        )}  # fmt: skip
        assert shown == {"technician": step == SCALES, "verifier": False}  # the unwind direction is the technician's
        both_key(cast, inspection, step) if step < CROSSOVER else None


def test_the_crossover_is_drawn_for_who_keyed_it_and_for_nobody_who_has_still_to(cast, inspection):
    for step in range(PLATE, CROSSOVER):
        both_key(cast, inspection, step)
    send(logged_in(cast.technician), worksheet(inspection), crossover_half="second")
    marked = "The crossover is in the second half."
    assert [marked in each for each in described(logged_in(cast.technician), worksheet(inspection))] == [True, False]
    for person in (cast.verifier, cast.colleague):
        assert not [each for each in described(logged_in(person), witness(inspection)) if "The crossover is" in each]
    typed = logged_in(cast.verifier).post(f"/inspections/{inspection.pk}/drawing/verifier", {"crossover_half": "first"})
    assert "The crossover is in the first half." in unescape(typed.content.decode())
    assert marked not in unescape(typed.content.decode())


@pytest.mark.parametrize("part", ["drawing/technician", "worksheet", "witness"])
@pytest.mark.usefixtures("at_scales")
def test_a_reading_that_ends_while_it_is_looked_at_is_no_fault(cast, inspection, part, monkeypatch):
    """Between the look at the inspection and the look at its reading, somebody else refers the count."""
    plain = access.inspection_for_read

    def and_then_it_is_referred(*asked):
        found = plain(*asked)
        monkeypatch.setattr(access, "inspection_for_read", plain)
        counting.ask_for_help(inspection_id=found.pk, remark="?", actor=Actor(cast.technician), at=builders.NOW)
        reading = found.readings.get()
        reading.ended_at = builders.NOW
        reading.save()
        return found

    monkeypatch.setattr(access, "inspection_for_read", and_then_it_is_referred)
    who = cast.verifier if part == "witness" else cast.technician
    client, address = logged_in(who), f"/inspections/{inspection.pk}/{part}"
    answer = client.post(address, {"scale_left": "12"}) if part.startswith("drawing") else client.get(address)
    if part.startswith("drawing"):
        assert "scale 12" in answer.content.decode()
    else:
        assert answer.headers["Location"] == f"/inspections/{inspection.pk}/referral"


@pytest.mark.usefixtures("at_scales")
def test_it_is_said_which_points_differ_and_both_key_them_again(cast, inspection):
    both_key(cast, inspection, SCALES, scale_right="11")
    for person, address in ((cast.technician, worksheet(inspection)), (cast.verifier, witness(inspection))):
        html = page_of(logged_in(person), address)
        assert "read the right scale differently" in html
        assert form_in(html)["points"] == ["scale_right"]
    assert "scale 11" not in page_of(logged_in(cast.technician), worksheet(inspection))


@pytest.mark.usefixtures("at_scales")
def test_problems_are_said_at_the_step_where_they_arise(cast, inspection):
    answer = send(logged_in(cast.technician), worksheet(inspection), **{**SEEN[SCALES], "unwind": "left_to_right"})
    html = page_of(logged_in(cast.technician), answer.headers["Location"])
    assert "Unwinding starts at the right, the open side, so it should go right to left" in html
    assert "reading 2" in html


@pytest.mark.usefixtures("at_scales")
def test_all_of_a_screen_is_kept_in_the_reading_that_it_ends(cast, inspection):
    send(logged_in(cast.verifier), witness(inspection), scale_left="13", scale_right="9")
    answer = send(logged_in(cast.technician), worksheet(inspection), **{**SEEN[SCALES], "scale_right": "9"})
    assert answer.status_code == 302
    inspection.refresh_from_db()
    assert inspection.state == "referred"
    assert {(row.reading.number, row.point) for row in keyings_of(inspection) if row.role == "technician"} >= {
        (1, "scale_left"),
        (1, "scale_right"),
        (1, "unwind"),
    }


@pytest.mark.usefixtures("at_scales")
def test_both_scales_that_differ_cost_one_reread(cast, inspection):
    both_key(cast, inspection, SCALES, scale_left="12", scale_right="11")
    inspection.refresh_from_db()
    assert inspection.rereads == 1
    assert form_in(page_of(logged_in(cast.technician), worksheet(inspection)))["points"] == [
        "scale_left", "scale_right"
    ]  # fmt: skip


@pytest.mark.usefixtures("at_scales")
def test_what_cannot_be_read_is_refused_with_every_field_kept(cast, inspection):
    answer = send(logged_in(cast.technician), worksheet(inspection), scale_left="13", scale_right="",
                  open_side="right")  # fmt: skip
    html = answer.content.decode()
    assert answer.status_code == 422
    assert faults_of(html) == []
    assert 'role="alert"' in html
    assert "Key the number read, or say that the scale cannot be read." in html
    assert 'value="13"' in html
    assert not scales_keyed()


@pytest.mark.usefixtures("at_scales")
def test_what_no_reel_of_the_type_shows_is_asked_about_once_and_kept_when_it_is_sent_again(cast, inspection):
    client, typed = logged_in(cast.technician), {**SEEN[SCALES], "scale_left": "31"}
    asked = send(client, worksheet(inspection), **typed)
    html = unescape(asked.content.decode())
    assert asked.status_code == 422
    assert faults_of(html) == []
    assert "31 is more than the 20 layers that the drum takes, the part layer included. Look again." in html
    assert 'value="31"' in html
    assert not scales_keyed()
    other = client.post(worksheet(inspection), {**form_in(html), **typed, "scale_left": "32"})
    assert "32 is more than the 20 layers" in other.content.decode()  # another number is another question
    again = client.post(worksheet(inspection), {**form_in(html), **typed})
    assert again.status_code == 302
    assert {row.point: row.value for row in keyings_of(inspection)}["scale_left"] == 31


@pytest.mark.usefixtures("at_scales")
def test_what_is_asked_about_is_the_type_s_matter_and_not_what_the_other_keyed(cast, inspection):
    send(logged_in(cast.verifier), witness(inspection), scale_left="19", scale_right="18")
    assert send(logged_in(cast.technician), worksheet(inspection), **SEEN[SCALES]).status_code == 302


@pytest.mark.usefixtures("at_scales")
def test_a_scale_that_cannot_be_read_is_left_out(cast, inspection):
    send(logged_in(cast.technician), worksheet(inspection), scale_left_left_out="on", scale_right="12",
         unwind="right_to_left")  # fmt: skip
    assert {row.point: row.value for row in keyings_of(inspection)}["scale_left"] is None


@pytest.mark.usefixtures("at_scales")
def test_a_step_sent_twice_is_stored_once(cast, inspection):
    client = logged_in(cast.technician)
    form = {**form_in(page_of(client, worksheet(inspection))), **SEEN[SCALES]}
    answers = [client.post(worksheet(inspection), form) for _ in range(3)]
    assert {(answer.status_code, answer.headers["Location"]) for answer in answers} == {(302, worksheet(inspection))}
    assert scales_keyed() == 3


def test_a_count_begun_twice_by_the_same_form_is_one_count(cast):
    client = logged_in(cast.technician)
    form = {**form_in(page_of(client, "/reels/LW-0001/count")), **PREPARED}
    first, second = (client.post("/reels/LW-0001/count", form).headers["Location"] for _ in range(2))
    assert first == second
    assert Inspection._base_manager.count() == 1


@pytest.mark.usefixtures("at_scales")
def test_another_technician_takes_over_at_the_step_that_is_open(cast, inspection):
    both_key(cast, inspection, SCALES)
    second = builders.make_person("theo", Act.COUNT, full_name="Theo Wick")
    assert send(logged_in(second), worksheet(inspection), **SEEN[HAND]).status_code == 302
    assert [row.participant.person for row in keyings_of(inspection)][-1] == second


@pytest.mark.parametrize("who", ["colleague", "verifier"])
def test_who_may_not_count_is_told_why_and_can_key_nothing(cast, inspection, who):
    client = logged_in(getattr(cast, who))
    answer = client.get(worksheet(inspection))
    assert answer.status_code == 403
    assert faults_of(answer.content.decode()) == []
    assert "holds no authorisation to count" in answer.content.decode()
    assert client.post(worksheet(inspection), {**SEEN[OPEN_SIDE], "points": list(Point)}).status_code == 403
    assert not Keying._base_manager.exists()


def test_a_stranger_finds_nothing(cast, inspection):
    for part in ("worksheet", "witness", "draft", "stamp", "result", "help", "referral", "cancel", "void"):
        assert logged_in(cast.stranger).get(f"/inspections/{inspection.pk}/{part}").status_code == 404


@pytest.mark.usefixtures("at_scales")
def test_without_a_login_nothing_is_kept_for_somebody_made_up(inspection):
    late = Client()
    late.post(worksheet(inspection), {"by": "1", "scale_left": "771"})
    assert not late.session.items()


def test_a_step_costs_the_same_however_often_it_was_read(cast, inspection, count_queries):
    client = logged_in(cast.technician)
    once = count_queries(lambda: client.get(worksheet(inspection)))
    builders.read(cast, inspection, verifier={"hand_wraps": 11})
    assert count_queries(lambda: client.get(worksheet(inspection))) <= once + 1  # why the last reading ended


def test_a_code_leads_the_verifier_s_phone_to_the_count_until_they_take_part(cast, inspection):
    code = "A code that leads to the witness page of this count"
    assert code in page_of(logged_in(cast.technician), worksheet(inspection))
    assert code not in page_of(logged_in(cast.verifier), witness(inspection))
    both_key(cast, inspection, 1)
    assert code not in page_of(logged_in(cast.technician), worksheet(inspection))
