"""Safety notices: issued, with their reels and what became of each, and lifted."""

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.words import NoticedState
from inspections.models import NoticedReel, SafetyNotice
from inspections.queries.safety_notices import noticed_reels, safety_notices
from inspections.services import safety_notices as services
from reels import access as reel_access
from reels.api.act_fields import body_of
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.fields import Maybe, Moment, Number, Text, Whole, Word
from reels.api.forms import Out, PageQuery
from reels.api.paging import Page
from reels.api.serializers import PersonOut, ReasonIn

SafetyNoticeIn = body_of(SafetyNoticeFields, "SafetyNoticeIn")


class SafetyNoticesQuery(PageQuery):
    standing = Word(["yes", "no"], required=False, help_text="yes: not lifted.")


class NoticedReelsQuery(PageQuery):
    state = Word(NoticedState, required=False)


class SafetyNoticeOut(Out):
    id = Number()
    reference = Text()
    reason = Text()
    reel_type = Text(source="type.code", default=None, allow_null=True)
    site = Text(source="site.code", default=None, allow_null=True)
    cable_lot = Maybe()
    publication = Maybe(help_text="By which the latest signed count was worked, or reels of its type are counted now.")
    publication_revision = Maybe()
    issued_at = Moment()
    issued_by = PersonOut()
    lifted_at = Moment(allow_null=True)
    lifted_by = PersonOut(allow_null=True)
    lift_reason = Maybe()
    reels = Whole(help_text="How many it has told of, at every site.")
    held = Whole(help_text="How many of these it holds now.")


class NoticedReelOut(Out):
    reel = Text(source="reel.serial")
    reel_type = Text(source="reel.type.code")
    site = Text(source="reel.site.code")
    noticed_at = Moment()
    state = Word(NoticedState, help_text="`held_before`: another hold was on it; once that ends, the notice holds it.")
    held_at = Moment(source="hold.placed_at", default=None, allow_null=True)
    released_at = Moment(source="hold.ended_at", default=None, allow_null=True)
    released_by = PersonOut(source="hold.ended_by", default=None, allow_null=True)
    release_reason = Maybe(source="hold.end_reason", default="")


class SafetyNoticeListEndpoint(Endpoint):
    @read("safety_notices_list", SafetyNoticeOut, query=SafetyNoticesQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Every safety notice, the newest first."""
        rows = safety_notices()
        if standing := call.query.get("standing"):
            rows = rows.filter(lifted_at__isnull=standing == "yes")
        return call.page(rows, "-id")

    @create("safety_notices_issue", SafetyNoticeOut, SafetyNoticeIn)
    def post(self, call: Call) -> SafetyNotice:
        """Have every reel held that it covers, now and later. How many and which is asked first."""
        notice = services.issue(facts=SafetyNoticeFields(**call.payload), actor=call.actor, at=call.at)
        return reel_access.one(safety_notices(), "safety notice", pk=notice.pk)


class SafetyNoticeDetailEndpoint(Endpoint):
    @read("safety_notices_show", SafetyNoticeOut)
    def get(self, call: Call, notice_id: int) -> SafetyNotice:
        """One safety notice."""
        return reel_access.one(safety_notices(), "safety notice", pk=notice_id)


class NoticedReelListEndpoint(Endpoint):
    @read("safety_notices_reels", NoticedReelOut, query=NoticedReelsQuery, is_page=True)
    def get(self, call: Call, notice_id: int) -> Page:
        """The reels at one's sites that a notice told of, and what became of each."""
        notice = reel_access.one(safety_notices(), "safety notice", pk=notice_id)
        rows = noticed_reels(notice, call.actor.person, call.at)
        if state := call.query.get("state"):
            rows = rows.filter(NoticedReel.in_state(NoticedState(state)))
        return call.page(rows, "id")


class SafetyNoticeLiftEndpoint(Endpoint):
    @create("safety_notices_lift", SafetyNoticeOut, ReasonIn, status=200)
    def post(self, call: Call, notice_id: int) -> SafetyNotice:
        """Lift a notice: it covers no reel any more, and those that it holds are let go."""
        services.lift(notice_id=notice_id, actor=call.actor, at=call.at, **call.payload)
        return reel_access.one(safety_notices(), "safety notice", pk=notice_id)
