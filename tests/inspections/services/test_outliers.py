from typing import Any

import pytest

from inspections.domain.words import InspectionState, Meaning
from inspections.errors import CountIsOutlier, NoOutlier
from inspections.queries.histories import plausibility_of
from inspections.services import counting, signing
from inspections.services.outliers import accept_outlier, open_outlier
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, PASSWORD, Cast, later

pytestmark = pytest.mark.django_db

FEWER: dict[str, Any] = {"hand_wraps": 5, "gauge_wraps": 5}  # seven wraps fewer, and nothing logged
WEEK = later(days=7)


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    builders.make_reel()
    for week in range(4):
        builders.signed_count(cast, at=later(days=week - 30))
    return cast


def counted(cast, at=WEEK, **changes):
    inspection = builders.read(cast, builders.open_count(cast, at=at), at, **changes)
    inspection.refresh_from_db()
    return inspection


def sign(cast, inspection, at=WEEK):
    return signing.sign(
        inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=PASSWORD, actor=Actor(cast.technician), at=at
    )


def test_a_count_that_fits_the_history_is_signed_as_it_is(cast):
    inspection = counted(cast)
    assert open_outlier(inspection) is None
    sign(cast, inspection)
    with pytest.raises(NoOutlier):
        accept_outlier(inspection_id=inspection.pk, reason="why not", actor=Actor(cast.verifier), at=WEEK)


def test_a_surprising_count_is_held_up_and_a_cut_is_offered_first(cast):
    inspection = counted(cast, **FEWER)
    with pytest.raises(CountIsOutlier) as caught:
        sign(cast, inspection)
    assert "was one made? Log it now" in str(caught.value)
    assert str(caught.value).endswith("or say why the count stands; then sign.")


def test_logging_the_cut_that_was_made_settles_it(cast):
    inspection = counted(cast, **FEWER)
    found = plausibility_of(inspection)
    assert found is not None
    builders.log_cut(cast, metres=f"{found.cut_m:.1f}", happened_at=later(days=5), at=WEEK)
    sign(cast, inspection)


def test_a_reason_settles_it_and_is_kept_with_what_was_told(cast):
    inspection = counted(cast, **FEWER)
    told = open_outlier(inspection)
    kept = accept_outlier(inspection_id=inspection.pk, reason="re-spooled loosely", actor=Actor(cast.verifier), at=WEEK)
    assert (kept.told, kept.accepted_by) == (told, cast.verifier)
    sign(cast, inspection)


def test_a_fresh_reading_that_says_the_same_settles_it_and_one_that_differs_is_weighed_anew(cast):
    inspection = counted(cast, **FEWER)
    actor = Actor(cast.technician)
    counting.read_again(inspection_id=inspection.pk, reason="surprising", actor=actor, at=WEEK)
    other = builders.read(cast, inspection, WEEK, hand_wraps=4, gauge_wraps=4)
    other.refresh_from_db()
    assert open_outlier(other) is not None
    counting.read_again(inspection_id=inspection.pk, reason="surprising", actor=actor, at=WEEK)
    same = builders.read(cast, inspection, WEEK, **FEWER)
    same.refresh_from_db()
    assert open_outlier(same) is None
    sign(cast, same)


def test_nothing_is_computed_before_both_people_have_keyed_everything(cast):
    inspection = builders.open_count(cast, at=WEEK)
    assert inspection.state == InspectionState.OPEN
    assert (plausibility_of(inspection), open_outlier(inspection)) == (None, None)
    with pytest.raises(NoOutlier):
        accept_outlier(inspection_id=inspection.pk, reason="early", actor=Actor(cast.verifier), at=WEEK)


def test_the_first_count_of_a_reel_has_nothing_to_be_compared_with():
    cast = Cast.as_needed()
    builders.make_reel()
    inspection = counted(cast, at=NOW)
    found = plausibility_of(inspection)
    assert found is not None
    assert (found.comparable, open_outlier(inspection)) == (False, None)


def test_a_count_entered_later_from_paper_is_weighed_against_the_time_before_it(cast):
    """Counts made after it say nothing here: the question is what was to be expected on its day."""
    inspection = counted(cast, at=WEEK)
    builders.sign_both(cast, inspection, WEEK)
    at = later(days=8)
    paper = builders.open_count(cast, at=at, done_at=later(days=-29))
    paper = builders.read(cast, paper, at)
    paper.refresh_from_db()
    found = plausibility_of(paper)
    assert found is not None
    assert found.comparable
    assert open_outlier(paper) is None


def test_weighing_a_count_takes_as_many_queries_after_a_long_history_as_after_a_short_one(cast, count_queries):
    inspection = counted(cast)
    plausibility_of(inspection)  # from here on the reel and its type are at hand
    short = count_queries(lambda: plausibility_of(inspection))
    builders.log_cut(cast, metres="1.0", happened_at=later(days=-60), at=WEEK)
    builders.log_cut(cast, metres="1.5", happened_at=later(days=-50), at=WEEK)
    assert count_queries(lambda: plausibility_of(inspection)) == short == 6
