"""Notices of counts that lapse while their values are in force, and of lives near their ends."""

import pytest

from inspections.models import SetupValues
from inspections.services import maintenance
from reels.models import ReelType
from reels.services import register
from reels.services.reels import CableEventFacts
from reports.domain.notices import NoticeKind
from reports.queries.notices import standing_causes
from tests import builders
from tests.builders import NOW, Cast, later
from tests.reports.services.test_notices import by, kinds, set_values

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    builders.make_reel()
    return Cast()


def test_a_count_that_lapses_by_days_or_uses_is_told_while_its_values_are_in_force(cast):
    set_values(cast)
    register.change(ReelType.objects.get(), count_days=20, count_uses=2, **builders.by_administrator())
    assert (kinds(later(days=19)), kinds(later(days=20))) == ([], [NoticeKind.LAPSED])
    assert kinds(later(days=51)) == []
    builders.log_event(cast, "used", at=later(hours=1), uses=2)
    [cause] = standing_causes(later(hours=1))
    assert (cause.kind, cause.key, cause.since) == (NoticeKind.LAPSED, SetupValues.objects.get().pk, later(hours=1))
    builders.removed(cast, at=later(hours=2))
    assert kinds(later(hours=2)) == [NoticeKind.WITHDRAWAL]


def test_a_soft_limit_is_told_until_a_hard_one_holds_the_reel_and_anew_with_another_cable(cast):
    register.change(ReelType.objects.get(), cable_uses_soft=2, cable_uses_hard=3, **builders.by_administrator())
    builders.log_event(cast, "used", uses=2)
    [soft] = standing_causes(NOW)
    assert (soft.kind, soft.reel) == (NoticeKind.LIFE, "LW-0001")
    builders.log_event(cast, "used", at=later(hours=1))
    assert kinds(later(hours=1)) == [NoticeKind.HOLD]
    facts = CableEventFacts(kind="replaced", happened_at=later(days=2))
    maintenance.log_cable_event(serial="LW-0001", facts=facts, **by(cast.control, later(days=2)))
    maintenance.end_hold(serial="LW-0001", reason="another cable", **by(cast.control, later(days=2)))
    assert kinds(later(days=2)) == []
    builders.log_event(cast, "used", at=later(days=3), uses=2)
    [again] = standing_causes(later(days=3))
    assert again.kind is NoticeKind.LIFE
    assert again.key != soft.key
