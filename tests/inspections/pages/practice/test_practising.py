import re
from html import unescape

import pytest

from inspections.domain.practice import Difficulty, ReadinessRule
from inspections.domain.words import Act
from inspections.models import Exercise, Keying
from inspections.queries import practice as found
from inspections.services import authorisations, practice
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast
from tests.page_fixtures import hidden_in, logged_in
from tests.practised import drawn, enter_right, practised, right_at, stand_of
from tests.well_formed import faults_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]
MARK = "PRACTICE – not a record"
CHOSEN = {"reel_type": "w28", "difficulty": "plain", "seed": "3"}


@pytest.fixture
def cast():
    builders.make_type()
    return Cast()


RESULT = str(practice.RESULT_STEP)


def html_of(client, address):
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    html = answer.content.decode()
    assert faults_of(html) == []
    return html


def typed(exercise, step):
    """A careful person's step as a form sends it."""
    if step == practice.STAND_STEP:
        stand = stand_of(exercise)
        parts = {"not_sound": sorted(stand["unsound"])} if stand["unsound"] else {"all_sound": "on"}
        return {"seen": "1", "serial": stand["serial"], "gauge_serial": stand["gauge_serial"], **parts}
    values = {name: value for each in right_at(exercise, step).values() for name, value in each.items()}
    for name in ("scale_left", "scale_right"):
        if name in values and values[name] is None:
            values |= {name: "", f"{name}_left_out": "on"}
    if "crossover_deg" in values:
        values = {"crossover_half": "unclear"}
    return {"seen": str(step), **values}


def test_a_reel_is_drawn_counted_in_the_forms_of_the_worksheet_and_answered(cast):
    client = logged_in(cast.colleague)
    assert MARK in html_of(client, "/practice")
    begun = client.post("/practice", CHOSEN)
    exercise = Exercise.objects.get()
    address = f"/practice/reels/{exercise.pk}"
    assert begun.headers["Location"] == address
    for step in range(1, practice.RESULT_STEP):
        html = html_of(client, address)
        assert f"Step {step} of {practice.RESULT_STEP}" in html
        assert MARK in html
        assert "<svg" in html
        for name in typed(exercise, step):
            assert f'name="{name}"' in html
        assert client.post(address, typed(exercise, step)).headers["Location"] == address
    answer = found.reel_of(exercise).answer
    assert "Wraps counted by hand" in html_of(client, address)
    client.post(address, {"seen": RESULT, "layers": answer.layers, "wraps": answer.wraps, "way": "set"})
    shown = client.get(address)
    assert shown.headers["Location"] == f"{address}/answers"
    html = html_of(client, shown.headers["Location"])
    assert MARK in html
    assert "All correct" in html
    assert html.count("</svg>correct</span>") == 14
    assert Keying.objects.count() == 0


def test_the_answers_say_what_was_missed_and_why_it_matters(cast):
    done = practised(cast.colleague, difficulty=Difficulty.PLAIN, off=1)
    html = html_of(logged_in(cast.colleague), f"/practice/reels/{done.pk}/answers")
    right = found.reel_of(done).reading.hand_wraps
    assert right is not None
    assert f"entered {right + 1}; correct is {right}. This looks like: one wrap off." in html
    assert "One wrap is a length of cable that the machine counts on or forgets" in html
    assert "1 of 14 fields missed." in html


def test_a_step_that_cannot_be_taken_says_why_and_keeps_what_was_typed(cast):
    one = enter_right(enter_right(drawn(cast.colleague), 1), 2)
    client = logged_in(cast.colleague)
    answer = client.post(f"/practice/reels/{one.pk}", {"seen": "3", "scale_left": "12"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Key the number read, or say that the scale cannot be read." in html
    assert 'value="12"' in html
    assert Exercise.objects.get().step == 3


def test_the_stand_is_entered_in_full_and_what_was_typed_stays(cast):
    one = drawn(cast.colleague)
    answer = logged_in(cast.colleague).post(f"/practice/reels/{one.pk}", {"seen": "1", "serial": "PR-12"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Say that all of it is sound, or what is not." in html
    assert 'value="PR-12"' in html


def test_a_step_sent_twice_is_entered_once(cast):
    one = drawn(cast.colleague, difficulty=Difficulty.PLAIN)
    client = logged_in(cast.colleague)
    form = {**hidden_in(html_of(client, f"/practice/reels/{one.pk}")), **typed(one, 1)}
    del form["stop"]
    for _ in range(2):
        answer = client.post(f"/practice/reels/{one.pk}", form)
        assert answer.headers["Location"] == f"/practice/reels/{one.pk}"
    assert Exercise.objects.get().step == 2


def test_numbers_that_are_to_be_set_have_to_be_there(cast):
    one = drawn(cast.colleague, difficulty=Difficulty.PLAIN)
    for step in range(1, practice.RESULT_STEP):
        enter_right(one, step)
    client = logged_in(cast.colleague)
    answer = client.post(f"/practice/reels/{one.pk}", {"seen": RESULT, "way": "set", "wraps": "3"})
    assert answer.status_code == 422
    assert "Key the number to set, or put the reel before an authorised person." in answer.content.decode()
    assert client.post(f"/practice/reels/{one.pk}", {"seen": RESULT, "way": "refer"}).status_code == 302
    assert Exercise.objects.get().entered["refers"] is True


def test_asking_for_help_ends_it(cast):
    one = drawn(cast.colleague)
    client = logged_in(cast.colleague)
    client.post(f"/practice/reels/{one.pk}", {"seen": "1", "stop": "yes"})
    assert "stopped where the rules give the answer" in html_of(client, f"/practice/reels/{one.pk}/answers")


def test_before_the_end_nothing_on_the_page_gives_the_answer_away(cast):
    """Neither the seed, with which the answers could be printed, nor a description of a drawing."""
    one = drawn(cast.colleague, difficulty=Difficulty.TREACHEROUS, seed=765_433)
    client = logged_in(cast.colleague)
    enter_right(enter_right(one, 1), 2)
    for address in (f"/practice/reels/{one.pk}", "/practice"):
        html = html_of(client, address)
        assert not re.search(rf"\b{one.seed}\b", html)
    described = re.findall(r"<desc[^>]*>([^<]*)<", unescape(html_of(client, f"/practice/reels/{one.pk}")))
    examples = [each for each in described if each.startswith("An example, not this reel.")]
    assert len(described) == len(examples) + 2
    assert not re.search(r"\d", " ".join(each for each in described if each not in examples))
    assert client.get(f"/practice/reels/{one.pk}/answers").headers["Location"] == f"/practice/reels/{one.pk}"


def test_a_reel_under_way_is_offered_and_no_other_is_drawn(cast):
    one = drawn(cast.colleague)
    client = logged_in(cast.colleague)
    assert f'href="/practice/reels/{one.pk}"' in html_of(client, "/practice")
    answer = client.post("/practice", {**CHOSEN, "seen": str(one.pk)})
    assert answer.status_code == 422
    assert "finish it, or ask for help on it" in answer.content.decode()


def test_the_crossover_is_measured_where_the_half_decides_nothing(cast):
    measured = builders.make_type("arc", arc_to_deg=120, arc_publication="LWS 12-4")
    one = drawn(cast.colleague, reel_type=measured, difficulty=Difficulty.PLAIN)
    reel = found.reel_of(one)
    client = logged_in(cast.colleague)
    address = f"/practice/reels/{one.pk}"
    for step in range(1, practice.RESULT_STEP - 1):
        client.post(address, typed(one, step))
    html = html_of(client, address)
    assert 'name="crossover_deg"' in html
    assert 'name="crossover_half"' not in html
    assert client.post(address, {"seen": str(practice.RESULT_STEP - 1), "crossover_deg": "361"}).status_code == 422
    client.post(address, {"seen": str(practice.RESULT_STEP - 1), "crossover_deg": str(reel.drum.crossover_deg)})
    client.post(address, {"seen": RESULT, "layers": reel.answer.layers, "wraps": reel.answer.wraps, "way": "set"})
    assert Exercise.objects.get().misses == []


def test_ones_own_page_tells_where_one_stands_and_costs_the_same_for_many_reels(cast, count_queries):
    client = logged_in(cast.colleague)
    practised(cast.colleague)
    client.get("/practice")
    one = count_queries(lambda: client.get("/practice"))
    for _ in range(4):
        practised(cast.colleague, off=1)
    assert count_queries(lambda: client.get("/practice")) == one
    html = html_of(client, "/practice")
    assert "in the last 30 days: 0; asked for: 10." in html
    assert "one wrap off" in html


def test_no_query_is_run_while_a_page_is_drawn(cast, no_query_in_a_template):
    done, client = practised(cast.colleague, off=1), logged_in(cast.colleague)
    one = drawn(cast.colleague)
    addresses = ["/practice", f"/practice/reels/{one.pk}", f"/practice/reels/{done.pk}/answers"]
    addresses.append(f"/practice/people/{cast.colleague.pk}")
    assert [client.get(address).status_code for address in addresses] == [200] * 4
    assert logged_in(cast.instructor).get("/practice/people").status_code == 200


# The instructor


def test_the_instructor_sees_the_people_of_the_site_by_name_and_where_they_slip(cast):
    practised(cast.colleague, off=1)
    builders.make_person("otto", site=builders.make_site("aldermere", "Aldermere"), full_name="Otto Elsewhere")
    html = html_of(logged_in(cast.instructor), "/practice/people")
    names = re.findall(r'reach" href="/practice/people/\d+">([^<]*)<', html)
    assert names == sorted(names)
    assert "Noel Grant" in names
    assert "Otto Elsewhere" not in names
    assert "Wraps, twice: 1 of 1" in html
    assert "This site asks for no practice." in html


def test_each_rule_of_the_site_has_its_own_table(cast):
    for act, in_a_row in ((Act.COUNT, 1), (Act.VERIFY, 3)):
        authorisations.ask_readiness(
            site=builders.make_site(), act=act, rule=ReadinessRule(in_a_row=in_a_row),
            actor=Actor(builders.administrator()), at=NOW,
        )  # fmt: skip
    practised(cast.colleague)
    html = html_of(logged_in(cast.instructor), "/practice/people")
    assert html.count("<table") == 2
    assert (html.count("</svg>Ready</span>"), "To be authorised to verify" in html) == (1, True)


def test_who_instructs_at_two_sites_chooses_one(cast):
    builders.authorise(cast.instructor, Act.INSTRUCT)
    register.post_person(person=cast.instructor, site=None, valid_from=NOW, **builders.by_administrator())
    client = logged_in(cast.instructor)
    html = html_of(client, "/practice/people?site=aldermere")
    assert "Stella Marsh" in html
    assert "Noel Grant" not in html
    assert "Aldermere" in html_of(client, "/practice/people?site=nowhere")


def test_a_colleague_sees_nobody_elses_practice_and_an_instructor_no_reel_under_way(cast):
    done = practised(cast.technician)
    one = drawn(cast.technician)
    colleague, instructor = logged_in(cast.colleague), logged_in(cast.instructor)
    assert colleague.get("/practice/people").status_code == 403
    for address in (f"/practice/reels/{done.pk}/answers", f"/practice/people/{cast.technician.pk}"):
        assert colleague.get(address).status_code == 404
        assert MARK in html_of(instructor, address)
    assert instructor.get(f"/practice/reels/{one.pk}").status_code == 404
    assert logged_in(cast.stranger).get(f"/practice/people/{cast.technician.pk}").status_code == 404
