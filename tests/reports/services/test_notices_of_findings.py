"""A stop finding is something that somebody must act on."""

from reports.domain.notices import NoticeKind
from reports.queries.notices import standing_causes
from tests import builders
from tests.builders import NOW, Cast, record_finding
from tests.inspections.services.finding_steps import lower


def test_a_stop_stands_until_it_is_closed_or_made_a_watch_and_a_watch_is_no_cause(db):
    builders.make_reel()
    cast = Cast.as_needed()
    record_finding(cast.technician, severity="watch")
    assert standing_causes(NOW) == []
    stop = record_finding(cast.technician)
    held, finding = standing_causes(NOW)
    assert (held.kind, held.by_finding) == (NoticeKind.HOLD, True)
    assert (finding.kind, finding.key, finding.reel) == (NoticeKind.FINDING, stop.pk, "LW-0001")
    lower(cast.releaser, stop)
    assert standing_causes(NOW) == []
