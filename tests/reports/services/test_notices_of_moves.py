"""Notices of reels that were sent and not received."""

import pytest

from reports.domain.notices import NoticeKind, wants
from reports.queries.notices import readers, standing_causes
from tests import builders
from tests.builders import Cast, later
from tests.reports.noticed import asks

pytestmark = pytest.mark.django_db


def test_a_reel_that_is_not_received_in_time_is_told_to_both_sites_until_it_came():
    cast = Cast.as_needed()
    builders.make_reel()
    move = builders.sent(cast)
    assert standing_causes(later(days=6)) == []
    [cause] = standing_causes(later(days=7))
    assert (cause.kind, cause.key, cause.site_name, cause.to_name) == (
        NoticeKind.LATE_MOVE, move.pk, "Kettle Point", "Aldermere",
    )  # fmt: skip
    third = builders.make_person("nell", site=builders.make_site("stane", "Stane Field"))
    for person in (cast.control, cast.stranger, third):
        asks(person, NoticeKind.LATE_MOVE)
    told = [reader.person for reader in readers(later(days=7)) if wants(reader, cause)]
    assert told == [cast.control.pk, cast.stranger.pk]
    builders.received(cast, at=later(days=8))
    assert standing_causes(later(days=8)) == []
