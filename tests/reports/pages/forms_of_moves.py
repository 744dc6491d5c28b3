"""The forms of moves and of safety notices: what goes before each, and what is typed into it."""

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.services import safety_notices
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast
from tests.reports.pages.forms_of_acts import CASES, OTHER, REEL, WHY, Opened, case

__all__ = ["CASES"]

NOTICE = {"reference": "SN-7", "site": "kettle-point", "cable_lot": "lot 9", **WHY}


@case("reel-receipt")
def _receipt(cast: Cast) -> Opened:
    builders.sent(cast)
    typed = {"site": "aldermere", "sound": "no", "words": "A bent flange."}
    return Opened(person=cast.stranger, address=f"{REEL}/receipt", typed=typed, altered={"words": "A crack."})


@case("safety-notice-issue")
def _notice_issued(cast: Cast) -> Opened:
    typed = {**NOTICE, "answers": "holds_reels"}
    return Opened(person=cast.control, address="/safety-notices/issue", typed=typed, altered={"reference": "SN-8"})


@case("safety-notice-lift")
def _notice_lifted(cast: Cast) -> Opened:
    facts = SafetyNoticeFields(**NOTICE, answers=["holds_reels"])
    notice = safety_notices.issue(facts=facts, actor=Actor(cast.control), at=NOW)
    return Opened(person=cast.control, address=f"/safety-notices/{notice.pk}/lift", typed=WHY, altered=OTHER)
