"""Practice from the drawing of a reel to its marks, and what a site may ask of it."""

import json
from dataclasses import replace

import pytest
from django.db import IntegrityError, connection, transaction

from inspections.domain.practice import LARGEST_SEED, Difficulty, PracticeSlip, ReadinessRule, Rule
from inspections.domain.words import Act, Point
from inspections.errors import ImpossibleReading, NotReady, PracticeStepPassed, PracticeStillOpen
from inspections.models import Authorisation, Exercise, ExerciseResult, ReadinessAsked
from inspections.queries import practice as exercises
from inspections.services import authorisations, practice
from reels.domain import ledger
from reels.errors import AlreadyThere, NotFound, OnlyAdministrators, ValueNotTaken
from reels.models import HistoryEntry
from reels.services import register
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, Cast, administrator, later
from tests.practised import drawn, enter_right, entered, practised, right_at, stand_of
from tests.reports.tampering import broken_by

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return Cast()


def by(person):
    return {"actor": Actor(person), "at": NOW}


# A reel


def test_the_same_seed_is_the_same_reel_for_everybody_whatever_becomes_of_the_type(cast):
    one = drawn(cast.colleague, seed=41, difficulty=Difficulty.TREACHEROUS)
    was = exercises.reel_of(one)
    register.change(one.reel_type, actor=Actor(administrator()), at=NOW, wraps_odd_layer=30)
    assert exercises.reel_of(Exercise.objects.get(pk=one.pk)) == was
    other = drawn(cast.technician, seed=41, difficulty=Difficulty.TREACHEROUS)
    assert exercises.reel_of(other).parameters == replace(was.parameters, wraps_odd_layer=30)


def test_a_new_reel_counts_and_a_chosen_seed_does_not(cast):
    new = entered(drawn(cast.colleague))
    assert (new.counts, 0 <= new.seed < practice.DRAWN_SEEDS) == (True, True)
    again = entered(drawn(cast.colleague, seed=new.seed))
    assert again.counts is False
    assert [len(each) for each in exercises.results_of([cast.colleague]).values()] == [1]


def test_nobody_has_two_reels_under_way(cast):
    one = drawn(cast.colleague)
    with pytest.raises(PracticeStillOpen, match="type w28 is under way"):
        drawn(cast.colleague)
    one.pk = None  # the same once more, past the service
    with pytest.raises(IntegrityError), transaction.atomic():
        one.save(force_insert=True)
    drawn(cast.technician)


def test_a_seed_that_no_reel_has_is_refused(cast):
    with pytest.raises(ValueNotTaken, match="seed was"):
        drawn(cast.colleague, seed=LARGEST_SEED + 1)


def test_a_right_sheet_has_no_miss_and_is_marked_by_every_rule_it_tried(cast):
    done = practised(cast.colleague, difficulty=Difficulty.PLAIN)
    assert (done.ended_at, done.misses) == (NOW, [])
    unusual = {Rule.FLUSH, Rule.STEP_DOWN}
    assert {Rule(rule) for rule in done.tried} == set(Rule) - unusual


def test_a_slip_is_kept_with_its_rule(cast):
    done = practised(cast.colleague, difficulty=Difficulty.PLAIN, off=1)
    assert done.misses == [[Rule.WRAPS, PracticeSlip.ONE_WRAP]]
    [result] = exercises.results_of([cast.colleague])[cast.colleague.pk]
    assert (result.difficulty, result.misses) == (Difficulty.PLAIN, ((Rule.WRAPS, PracticeSlip.ONE_WRAP),))
    [miss] = exercises.marking_of(done).missed
    assert (miss.field, miss.right) == ("hand_wraps", exercises.reel_of(done).reading.hand_wraps)


def test_a_step_is_entered_once_and_in_its_turn(cast):
    one = drawn(cast.colleague)
    with pytest.raises(PracticeStepPassed, match="goes on with step 1"):
        enter_right(one, 2)
    with pytest.raises(ImpossibleReading, match="serial"):
        practice.enter_stand(exercise_id=one.pk, **{**stand_of(one), "serial": " "}, **by(cast.colleague))
    enter_right(one, 1)
    enter_right(one, 2)
    for step in (1, 2, 4):
        with pytest.raises(PracticeStepPassed, match="goes on with step 3"):
            enter_right(one, step)
    with pytest.raises(ValueNotTaken, match="allowed: scale_left, scale_right, unwind"):
        practice.enter_step(exercise_id=one.pk, step=3, by_point=right_at(one, 4), **by(cast.colleague))
    below = {**right_at(one, 3), Point.SCALE_LEFT: {"scale_left": -1}}
    with pytest.raises(ImpossibleReading, match="scale_left"):
        practice.enter_step(exercise_id=one.pk, step=3, by_point=below, **by(cast.colleague))
    assert Exercise.objects.get(pk=one.pk).step == 3


def test_what_is_ended_stays_as_it_is(cast):
    done = practised(cast.colleague)
    with pytest.raises(PracticeStepPassed, match="goes on with the answers"):
        practice.stop_exercise(exercise_id=done.pk, step=5, **by(cast.colleague))


def test_asking_for_help_ends_it_and_is_right_only_where_the_reel_has_to_be_referred(cast):
    kind = builders.make_type("held", unusual="hold", unusual_publication="")
    outcomes: dict[str, set[bool]] = {}
    for seed in range(8):
        one = drawn(cast.colleague, seed=seed, reel_type=kind, difficulty=Difficulty.TRICKY)
        enter_right(one, 1)
        enter_right(one, 2)
        done = practice.stop_exercise(exercise_id=one.pk, step=3, **by(cast.colleague))
        marks = {mark.field: mark.is_right for mark in exercises.marking_of(done).marks}
        outcomes.setdefault(str(exercises.reel_of(one).answer.outcome), set()).add(marks["refers"])
    assert outcomes == {"referred": {True}}
    plain = practice.stop_exercise(exercise_id=drawn(cast.colleague).pk, step=1, **by(cast.colleague))
    assert [Rule.CROSSOVER, PracticeSlip.STOPPED] in plain.misses


def test_another_persons_reel_is_not_there(cast):
    one = drawn(cast.colleague)
    with pytest.raises(NotFound):
        practice.enter_step(exercise_id=one.pk, step=1, by_point=right_at(one, 1), **by(cast.technician))


def test_a_history_tells_that_practice_ended_and_nothing_of_what_was_read(cast):
    builders.make_type()
    before = HistoryEntry.objects.count()
    one = practised(cast.colleague, off=1)
    entry = HistoryEntry.objects.latest("pk")
    assert (HistoryEntry.objects.count(), entry.chain.name, entry.act) == (before + 1, "practice", "practice_ended")
    [change] = json.loads(bytes(entry.content))["changes"]
    assert change["after"] == {"exercise_id": one.pk, "digest": exercises.digest_of(one)}


@pytest.mark.parametrize("columns", [{"counts": True}, {"misses": []}, {"difficulty": "treacherous"}, {"seed": 8}])
def test_practice_that_was_changed_after_its_end_is_found(cast, columns):
    one = practised(cast.colleague, off=1, counts=False)
    assert check_records().broken is None
    assert "is not as it ended" in broken_by(Exercise.objects.filter(pk=one.pk).update, **columns)


def test_practice_that_somebody_put_in_is_found(cast):
    one = practised(cast.colleague)
    one.pk = one.pk + 1
    assert "no history tells how it ended" in broken_by(one.save, force_insert=True)


def test_no_table_of_records_refers_to_practice():
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            if table not in (Exercise._meta.db_table, ExerciseResult._meta.db_table):
                targets = {to for _, to in connection.introspection.get_relations(cursor, table).values()}
                assert Exercise._meta.db_table not in targets, table


# Readiness


def ask(rule=None, act=Act.COUNT, site=None):
    return authorisations.ask_readiness(
        site=site or builders.make_site(), act=act, rule=rule or ReadinessRule(in_a_row=2), **by(administrator())
    )


def grant(person, act=Act.COUNT, site=None, at=NOW):
    authorisations.grant(
        person=person, act=act, reel_type=None, site=site, valid_from=NOW, valid_until=None,
        actor=Actor(administrator()), at=at,
    )  # fmt: skip
    return Authorisation.objects.latest("pk")


def told_last():
    return ledger.read(bytes(HistoryEntry.objects.latest("pk").content))


def test_without_a_rule_nothing_is_asked_and_nothing_is_told(cast):
    grant(cast.colleague, site=builders.make_site())
    assert told_last()["facts"] == {}


def test_a_site_that_asks_for_practice_authorises_nobody_before(cast):
    ask()
    practised(cast.colleague)
    with pytest.raises(NotReady, match=r"Kettle Point asks .* Noel Grant is not there yet\. .*: 1; asked for: 2\."):
        grant(cast.colleague, site=builders.make_site())
    practised(cast.colleague)
    assert grant(cast.colleague, site=builders.make_site()).act == Act.COUNT
    [found_ready] = told_last()["facts"]["readiness"]
    assert found_ready.endswith("in the last 30 days: 2; asked for: 2.")


def test_other_acts_and_other_sites_are_not_asked_for_it(cast):
    ask()
    grant(cast.colleague, act=Act.VERIFY, site=builders.make_site())
    grant(cast.colleague, site=builders.make_site("aldermere", "Aldermere"))


def test_an_authorisation_for_every_site_has_to_meet_every_sites_rule(cast):
    ask(ReadinessRule(in_a_row=1))
    ask(ReadinessRule(in_a_row=2), site=builders.make_site("aldermere", "Aldermere"))
    practised(cast.colleague)
    with pytest.raises(NotReady, match="Aldermere asks"):
        grant(cast.colleague, site=None)
    practised(cast.colleague)
    grant(cast.colleague, site=None)


def test_a_miss_begins_again_and_old_practice_is_forgotten(cast):
    ask(ReadinessRule(in_a_row=2, within_days=30))
    for off in (0, 0, 1, 0):
        practised(cast.colleague, off=off)
    with pytest.raises(NotReady, match="30 days: 1; asked for: 2"):
        grant(cast.colleague, site=builders.make_site())
    practised(cast.colleague)
    with pytest.raises(NotReady, match="30 days: 0;"):
        grant(cast.colleague, site=builders.make_site(), at=later(days=31))


def test_a_chosen_seed_and_too_easy_reels_make_nobody_ready(cast):
    ask(ReadinessRule(in_a_row=1, least=Difficulty.TRICKY))
    practised(cast.colleague, counts=False, difficulty=Difficulty.TRICKY)
    practised(cast.colleague, difficulty=Difficulty.USUAL)
    with pytest.raises(NotReady):
        grant(cast.colleague, site=builders.make_site())


def test_a_rule_set_later_takes_no_authorisation_away(cast):
    held = Authorisation.objects.get(person=cast.technician, act=Act.COUNT)
    ask()
    held.refresh_from_db()
    assert held.ended_at is None


def test_a_rule_is_told_in_the_register_changed_there_and_lifted(cast):
    row = ask()
    assert HistoryEntry.objects.latest("pk").act == "readiness_rule_added"
    register.change(row, actor=Actor(administrator()), at=NOW, is_asked=False)
    assert HistoryEntry.objects.latest("pk").act == "readiness_rule_changed"
    grant(cast.colleague, site=builders.make_site())
    with pytest.raises(AlreadyThere, match="readiness rule 'count at Kettle Point'"):
        ask()


def test_only_an_administrator_sets_a_rule(cast):
    with pytest.raises(OnlyAdministrators):
        authorisations.ask_readiness(
            site=builders.make_site(), act=Act.COUNT, rule=ReadinessRule(), **by(cast.instructor)
        )
    assert ReadinessAsked.objects.count() == 0


def test_readiness_of_many_is_one_query(cast, count_queries):
    people = [cast.colleague, cast.technician, cast.verifier]
    for person in people:
        practised(person)
    assert count_queries(lambda: exercises.readiness_of(people, ReadinessRule(), NOW)) == 1
