"""One mail of a safety notice, not one of each reel that it holds."""

from types import SimpleNamespace

import pytest

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.words import Act
from inspections.services import maintenance, safety_notices
from reels.services.history import Actor
from reports.domain.notices import NoticeKind, wants
from reports.queries.notices import readers, standing_causes
from tests import builders
from tests.builders import Cast, later
from tests.reports.noticed import asks, run, server
from tests.worker import work_off

pytestmark = pytest.mark.django_db
__all__ = ["server"]
KINDS = NoticeKind.SAFETY_NOTICE, NoticeKind.HOLD, NoticeKind.WITHDRAWAL


@pytest.fixture
def cast(monkeypatch):
    """Reels at two sites, LW-0001 with values in force, and a worker whose clock is that of the test."""
    monkeypatch.setattr(safety_notices, "timezone", SimpleNamespace(now=lambda: later(hours=1)))
    cast = Cast()
    builders.make_reel()
    builders.make_reel("LW-0002", site=builders.make_site("aldermere", "Aldermere"))
    builders.make_reel("LW-0003", site=builders.make_site("stane", "Stane Field"), type=builders.make_type("w31"))
    builders.signed_count(cast)
    builders.issued(cast)
    builders.authorise(cast.control, Act.MAINTAIN)
    return cast


def issued(cast):
    facts = SafetyNoticeFields(reference="SN-7", reason="brakes slip", reel_type="w28", answers=["holds_reels"])
    notice = safety_notices.issue(facts=facts, actor=Actor(cast.control), at=later(hours=1))
    work_off()
    return notice


def causes(at):
    return {cause.kind: cause for cause in standing_causes(at)}


def test_it_is_told_at_each_site_of_which_it_holds_reels_as_long_as_it_does(cast):
    notice = issued(cast)
    cause = causes(later(hours=2))[NoticeKind.SAFETY_NOTICE]
    assert (cause.key, cause.site_name, len(cause.also)) == (notice.pk, "Kettle Point, Aldermere", 1)
    elsewhere = builders.make_person("nell", site=builders.make_site("stane"))
    for person in (cast.colleague, cast.stranger, elsewhere):
        asks(person, NoticeKind.SAFETY_NOTICE)
    told = [reader.person for reader in readers(later(hours=2)) if wants(reader, cause)]
    assert told == [cast.colleague.pk, cast.stranger.pk]
    safety_notices.lift(notice_id=notice.pk, reason="changed", actor=Actor(cast.control), at=later(hours=2))
    assert NoticeKind.SAFETY_NOTICE not in causes(later(hours=2))


def test_it_is_no_longer_told_once_each_reel_was_let_go_by_itself(cast):
    issued(cast)
    for serial in ("LW-0001", "LW-0002"):
        person = cast.control if serial == "LW-0001" else cast.stranger
        maintenance.end_hold(serial=serial, reason="changed", actor=Actor(person), at=later(hours=2))
    assert NoticeKind.SAFETY_NOTICE not in causes(later(hours=2))


@pytest.mark.parametrize(("kinds", "told"), [
    (KINDS, {NoticeKind.SAFETY_NOTICE}), (KINDS[1:], {NoticeKind.HOLD}), (KINDS[2:], {NoticeKind.WITHDRAWAL}),
    ((NoticeKind.SAFETY_NOTICE, NoticeKind.WITHDRAWAL), {NoticeKind.SAFETY_NOTICE}),
])  # fmt: skip
def test_who_is_told_of_the_notice_is_not_told_of_its_holds_and_withdrawals_too(cast, kinds, told):
    issued(cast)
    asks(cast.colleague, *kinds)
    [reader] = readers(later(hours=2))
    assert {cause.kind for cause in standing_causes(later(hours=2)) if wants(reader, cause)} == told


def test_the_mail_names_it_and_where_it_holds_reels_and_is_sent_once(cast, server):
    notice = issued(cast)
    asks(cast.colleague, NoticeKind.SAFETY_NOTICE)
    run(later(hours=2))
    builders.make_reel("LW-0009")
    run(later(hours=3))
    [(_, message)] = server.mails
    assert f"safety notice {notice.pk} holds reels" in message["Subject"]
    assert "Kettle Point, Aldermere" in message.get_content()
