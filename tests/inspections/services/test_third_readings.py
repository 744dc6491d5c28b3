"""A third person reads a point at which the two differ: blind, on record, and without deciding anything."""

import json

import pytest
from django.db import IntegrityError, transaction

from inspections.domain import keying
from inspections.domain.words import Act, InspectionState, Point, Role
from inspections.errors import (
    NotAThirdPerson,
    NotAuthorised,
    NoThirdReading,
    NotOneOfTheTwo,
    NotYourRequest,
    OtherRole,
    ThirdReadingAwaited,
    ThirdReadingOver,
    WrongState,
)
from inspections.models import InspectionRecord, ThirdReading
from inspections.queries.third_readings import awaited_from
from inspections.queries.worksheet import worksheet_state
from inspections.services import counting, third_readings
from reels.errors import NotFound, OnlyInPerson
from reels.models import HistoryEntry
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW, later

pytestmark = pytest.mark.django_db


@pytest.fixture
def inspection(cast):
    """The two differ at the left scale: 14 and 13."""
    return stories.differ(cast, stories.at_the_scales(cast))


@pytest.fixture
def asked(cast, inspection):
    return stories.ask_third(cast, inspection)


def ask(person, inspection, point=Point.SCALE_LEFT, via="session"):
    return third_readings.ask_third_reading(
        inspection_id=inspection.pk, point=point, actor=Actor(person, via=via), at=NOW
    )


def take_back(person, asked):
    return third_readings.take_back_third_reading(
        inspection_id=asked.reading.inspection_id, third_id=asked.pk, actor=Actor(person), at=NOW
    )


def read(person, asked, **seen):
    return third_readings.key_third_reading(
        inspection_id=asked.reading.inspection_id, third_id=asked.pk, fields=seen or {"scale_left": 13},
        actor=Actor(person), at=NOW,
    )  # fmt: skip


def history():
    return [bytes(row.content).decode() for row in HistoryEntry.objects.order_by("id")]


def last_facts():
    return json.loads(history()[-1])["facts"]


# Asked for ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", ["technician", "verifier"])
def test_either_of_the_two_may_ask_once_they_differ(cast, inspection, part):
    asked = ask(getattr(cast, part), inspection)
    assert (asked.point, asked.attempt, asked.is_awaited) == (Point.SCALE_LEFT, 1, True)
    assert (json.loads(history()[-1])["act"], last_facts()["points"]) == ("third_reading_asked", ["scale_left"])


def test_nobody_else_asks(cast, inspection):
    with pytest.raises(NotOneOfTheTwo, match="Seth Bryce takes no part"):
        ask(stories.third_person(cast), inspection)
    with pytest.raises(NotAuthorised):
        ask(cast.colleague, inspection)
    with pytest.raises(OnlyInPerson):
        ask(cast.technician, inspection, via="token spool")


def test_before_both_have_keyed_and_where_they_agree_there_is_nothing_to_compare(cast, inspection):
    for point in (Point.SCALE_RIGHT, Point.HAND_COUNT):
        with pytest.raises(NoThirdReading, match="do not differ at the"):
            ask(cast.technician, inspection, point)
    stories.key_both(cast, inspection, Point.SCALE_LEFT)
    with pytest.raises(NoThirdReading, match="nothing to compare"):
        ask(cast.technician, inspection)


def test_where_only_a_few_answers_are_possible_none_is_asked_for(cast):
    inspection = builders.open_count(cast)
    stories.key_both(cast, inspection, Point.SERIAL)
    stories.differ(cast, inspection, Point.OPEN_SIDE, open_side="left")
    with pytest.raises(NoThirdReading, match="only a few answers are possible"):
        ask(cast.technician, inspection, Point.OPEN_SIDE)


def test_a_count_from_paper_cannot_be_read_again_by_anybody(cast):
    late = builders.open_count(cast, done_at=later(days=-20))
    inspection = stories.differ(cast, stories.key_both(cast, late, *stories.BEFORE_THE_SCALES))
    assert worksheet_state(inspection, Role.TECHNICIAN, cast.technician).may_ask == ()
    with pytest.raises(NoThirdReading, match="from paper"):
        ask(cast.technician, inspection)


def test_one_is_asked_for_at_a_time(cast, asked):
    with pytest.raises(ThirdReadingAwaited, match="Tess Hollin, who asked"):
        ask(cast.verifier, asked.reading.inspection)
    with pytest.raises(IntegrityError), transaction.atomic():
        ThirdReading.objects.create(
            reading=asked.reading, point=asked.point, attempt=1, asked_by=cast.verifier, asked_at=NOW
        )


# Closed meanwhile ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
def test_the_point_is_closed_until_it_is_read_or_taken_back(cast, asked, role):
    inspection = asked.reading.inspection
    with pytest.raises(ThirdReadingAwaited, match="asked to read the left scale; it is closed"):
        stories.key(cast, inspection, Point.SCALE_LEFT, role)
    stories.key(cast, inspection, Point.SCALE_RIGHT, role)  # the others are open
    take_back(cast.technician, asked)
    stories.key(cast, inspection, Point.SCALE_LEFT, role)


def test_whoever_asked_takes_it_back_and_it_stays_on_record(cast, asked):
    with pytest.raises(NotYourRequest, match="asked for by Tess Hollin"):
        take_back(cast.verifier, asked)
    take_back(cast.technician, asked)
    asked.refresh_from_db()
    assert (asked.taken_back_at, asked.is_awaited) == (NOW, False)
    with pytest.raises(ThirdReadingOver, match="the request was taken back"):
        take_back(cast.technician, asked)
    assert ask(cast.verifier, asked.reading.inspection).pk != asked.pk


@pytest.mark.parametrize(("role", "part"), [(Role.TECHNICIAN, "technician"), (Role.VERIFIER, "verifier")])
def test_the_worksheet_says_what_is_awaited_and_offers_nothing_there(cast, asked, role, part):
    inspection, person = asked.reading.inspection, getattr(cast, part)
    standing = worksheet_state(inspection, role, person)
    assert (standing.awaits_third, standing.may_ask, standing.step) == (True, (), 3)
    assert Point.SCALE_LEFT not in standing.own_points
    assert Point.SCALE_RIGHT in standing.own_points
    stories.read_third(cast, asked)
    standing = worksheet_state(inspection, role, person)
    assert (standing.awaits_third, standing.may_ask) == (False, ())
    assert [each.agrees_with for each in standing.third_readings] == ["verifier"]
    assert Point.SCALE_LEFT in standing.own_points


# Read ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seen", "whose"), [(14, "technician"), (13, "verifier"), (15, "neither")])
def test_it_is_told_whose_value_it_agrees_with_and_never_which(cast, asked, seen, whose):
    row = stories.read_third(cast, asked, scale_left=seen)
    assert (row.agrees_with, row.value, row.read_by) == (whose, seen, cast.setter)
    facts = last_facts()
    assert (facts["agrees_with"], facts["revealed"]) == (whose, [])
    assert row.salt not in "".join(history())
    assert row.commitment in history()[-1]
    assert not any(f'"value":{seen}' in entry for entry in history())


def test_it_decides_nothing_and_both_read_again(cast, asked):
    inspection = stories.read_third(cast, asked).reading.inspection
    assert (inspection.state, inspection.rereads) == (InspectionState.OPEN, 1)
    with pytest.raises(NoThirdReading, match="has read the left scale already"):
        ask(cast.verifier, inspection)
    stories.differ(cast, inspection)  # and they may differ once more, and ask once more
    assert ask(cast.verifier, inspection).attempt == 2


def test_its_value_is_told_once_the_two_agree(cast, asked):
    row = stories.read_third(cast, asked)
    stories.key_both(cast, row.reading.inspection, Point.SCALE_LEFT)
    revealed = [each for each in last_facts()["revealed"] if "third_reading" in each]
    assert revealed == [{"third_reading": row.pk, "value": 13, "salt": row.salt}]
    assert keying.commitment(Point.SCALE_LEFT, 13, row.salt) == row.commitment


def test_its_value_is_told_once_the_count_has_ended(cast, asked):
    row = stories.read_third(cast, asked)
    stories.ask_for_help(cast, row.reading.inspection)
    assert last_facts()["revealed"] == []
    counting.cancel(inspection_id=row.reading.inspection_id, reason="a drill", actor=Actor(cast.technician), at=NOW)
    assert {"third_reading": row.pk, "value": 13, "salt": row.salt} in last_facts()["revealed"]


def test_at_the_gauge_the_third_person_keys_the_number_alone(cast):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.SCALE_RIGHT, Point.UNWIND, Point.HAND_COUNT)
    stories.differ(cast, inspection, Point.GAUGE, gauge_face="odd", gauge_wraps=12)
    asked = stories.ask_third(cast, inspection, Point.GAUGE)
    assert stories.read_third(cast, asked, gauge_wraps=12).agrees_with == "both"


def test_only_somebody_else_who_may_count_or_verify_reads_it(cast, asked):
    for person in (cast.technician, cast.verifier):
        with pytest.raises(NotAThirdPerson, match="made by somebody who does not"):
            read(person, asked)
    with pytest.raises(NotAuthorised):
        read(cast.colleague, asked)
    with pytest.raises(NotFound):
        read(cast.stranger, asked)
    builders.authorise(cast.colleague, Act.VERIFY)
    assert read(cast.colleague, asked).read_by == cast.colleague
    with pytest.raises(ThirdReadingOver, match="it was made"):
        read(cast.colleague, asked)


def test_whoever_read_it_takes_no_other_part(cast, asked):
    builders.authorise(stories.third_person(cast), Act.VERIFY)
    inspection = stories.read_third(cast, asked).reading.inspection
    with pytest.raises(OtherRole, match="as third reader"):
        counting.key(inspection_id=inspection.pk, point=Point.SCALE_RIGHT, role=Role.VERIFIER,
                     fields={"scale_right": 12}, actor=Actor(cast.setter), at=NOW)  # fmt: skip


def test_it_is_over_with_the_reading_and_with_the_count(cast, asked):
    person, inspection = stories.third_person(cast), asked.reading.inspection
    assert [each.pk for each in awaited_from(person, NOW)] == [asked.pk]
    stories.ask_for_help(cast, inspection)
    assert awaited_from(person, NOW) == []
    with pytest.raises(WrongState, match="referred"):
        read(person, asked)
    stories.release(cast, inspection)
    assert awaited_from(person, NOW) == []
    with pytest.raises(ThirdReadingOver, match="the reading ended"):
        read(person, asked)


def test_who_finds_it_is_who_may_make_it(cast, asked):
    person = stories.third_person(cast)
    everybody = (person, cast.technician, cast.verifier, cast.colleague, cast.stranger)
    assert [bool(awaited_from(each, NOW)) for each in everybody] == [True, False, False, False, False]


# Afterwards ---------------------------------------------------------------------------------------------------------


def test_the_signed_record_tells_of_it(cast, asked):
    row = stories.read_third(cast, asked)
    inspection = row.reading.inspection
    stories.key_the_rest(cast, inspection)
    builders.sign_both(cast, inspection, at=later(hours=1))
    content = json.loads(bytes(InspectionRecord.objects.get().content))
    [told] = content["readings"][0]["third_readings"]
    assert (told["point"], told["attempt"], told["value"], told["agrees_with"]) == ("scale_left", 1, 13, "verifier")
    assert (told["asked_by"]["name"], told["read_by"]["name"]) == ("Tess Hollin", "Seth Bryce")
    assert (content["v"], told["commitment"]) == (6, row.commitment)
