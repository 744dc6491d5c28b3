"""Safety notices: many reels are held for one reason, one act each, and let go one by one or all together.

A notice is issued in one act, told by the register; a worker then holds the reels that it covers, each in an act of its
own. Whatever act brings a reel under it later (it is received, counted, or given another cable) holds it as well;
where types are counted by another publication from now on, a worker does. A reel that is held already stays under that
hold; once it is let go, the notice's begins in the same act.
"""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from inspections import access
from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.words import Act
from inspections.errors import HoldsReels
from inspections.models import Inspection, NoticedReel, SafetyNotice
from inspections.queries.findings import is_stopped
from inspections.queries.safety_notices import covered_by, covering, standing
from inspections.services.life import hold_if_over
from inspections.services.setup import hold_reel
from reels import access as reel_access
from reels.domain.text import compared
from reels.domain.words import counted
from reels.errors import AlreadyEnded, AlreadyThere, ValueNotTaken
from reels.models import CableEvent, Hold, Move, Person, Publication, PublicationType, Reel, TaskRun
from reels.queries import hold_on
from reels.services import tasks
from reels.services.history import Actor, ActRecorder, by_itself, record_act
from reels.services.tasks import HeldTask, leased

MAY_LIFT = (Act.MAINTAIN, Act.RELEASE)
SHOWN = 30  # serials in a question
# Tables of which a new or changed row may bring a reel under a notice, and many reels at once.
BRINGS = frozenset(model._meta.db_table for model in (Reel, Inspection, CableEvent))
BRINGS_MANY = frozenset(model._meta.db_table for model in (Publication, PublicationType))


@transaction.atomic
def issue(*, facts: SafetyNoticeFields, actor: Actor, at: datetime) -> SafetyNotice:
    """Issue a notice, and have a worker hold the reels that it covers. Raises HoldsReels unless that is answered.

    It takes an authorisation to maintain reels for all that it may cover. Raises ValueNotTaken, AlreadyThere, NotFound,
    OnlyInPerson or NotAuthorised.
    """
    access.in_person(actor)
    notice = _notice(facts, actor, at)
    access.require_for_all(actor.person, notice, at, Act.MAINTAIN)
    chain = reel_access.lock_register()
    known = SafetyNotice.objects.values_list("reference", flat=True)
    if compared(notice.reference) in map(compared, known):
        raise AlreadyThere(what="safety notice", key=notice.reference)
    reels = covered_by(notice, at)
    serials = list(reels.order_by("serial").values_list("serial", flat=True)[: SHOWN + 1])
    number = reels.count()
    more = f" and {number - SHOWN} more" if number > SHOWN else ""
    HoldsReels(covers=notice.covers, number=counted(number, "reel"), which=", ".join(serials[:SHOWN]) + more
               if number else "none now").unless_answered(facts.answers)  # fmt: skip
    with record_act(chain, "safety_notice_issued", actor, at, reference=notice.reference) as act:
        act.add(notice)
    have_held(notice, actor.person)
    return notice


@transaction.atomic
def lift(*, notice_id: int, reason: str, actor: Actor, at: datetime) -> SafetyNotice:
    """End a notice: it covers no reel any more, and a worker lets go those that it holds. Raises AlreadyEnded.

    A reel with a stop finding stays held, and one that was received not sound meanwhile: somebody lets it go by itself.
    """
    access.in_person(actor)
    chain = reel_access.lock_register()
    notice = reel_access.one(SafetyNotice.objects.select_related("type", "site"), "safety notice", pk=notice_id)
    access.require_for_all(actor.person, notice, at, *MAY_LIFT)
    if notice.lifted_at:
        raise AlreadyEnded(what="safety notice", on=notice.lifted_at.date())
    with record_act(chain, "safety_notice_lifted", actor, at, reference=notice.reference) as act:
        act.change(notice, lifted_at=at, lifted_by=actor.person, lift_reason=reason)
    have_let_go(notice, actor.person)
    return notice


def have_held(notice: SafetyNotice, by: Person) -> TaskRun:
    """Have a worker hold the reels that a notice covers."""
    return tasks.put(hold_covered, notice.pk, by.pk, key=_key(notice),
                     title=f"Safety notice {notice.reference}: reels held", by=by)  # fmt: skip


def have_let_go(notice: SafetyNotice, by: Person) -> TaskRun:
    """Have a worker let go the reels that a lifted notice holds."""
    return tasks.put(let_go, notice.pk, by.pk, key=_key(notice, "lifted"),
                     title=f"Safety notice {notice.reference}: reels let go", by=by)  # fmt: skip


@leased
def hold_covered(context: HeldTask, notice_id: int, person: int) -> dict[str, Any]:
    """Each reel in a transaction of its own; begun again, those that are told already are passed over."""
    notice = SafetyNotice.objects.select_related("type", "site").get(pk=notice_id)
    _hold_all(context, notice, Actor(Person.objects.get(pk=person)))
    done = NoticedReel.objects.filter(notice=notice)
    placed = done.filter(hold__isnull=False).count()
    waiting = done.count() - placed
    summary = [f"{counted(placed, 'reel')} held."]
    return {"held": placed, "held_before": waiting, "in_words": [
        *summary, *([f"{counted(waiting, 'reel')} held before, for another reason."] if waiting else []),
    ]}  # fmt: skip


@leased
def hold_by_publication(context: HeldTask) -> dict[str, Any]:
    """The same for each standing notice that names a publication, since others may be in force now."""
    notices = standing().exclude(publication="").select_related("type", "site").order_by("pk")
    held = sum(_hold_all(context, notice, by_itself("worker")) for notice in list(notices))
    return {"held": held, "in_words": [f"{counted(held, 'reel')} came under a notice by another publication."]}


def _hold_all(context: HeldTask, notice: SafetyNotice, actor: Actor) -> int:
    chains = chains_to_hold(notice, timezone.now())
    for number, chain in enumerate(chains):
        context.progress(f"Reels of {notice.reference} are held.", number, len(chains))
        with transaction.atomic():
            context.require()
            hold_covered_reel(notice, chain, actor)
    return len(chains)


def chains_to_hold(notice: SafetyNotice, at: datetime) -> list[str]:
    """The chains of the reels that it covers and has not told of yet."""
    return list(covered_by(notice, at).order_by("serial").values_list("chain__name", flat=True))


@leased
def let_go(context: HeldTask, notice_id: int, person: int) -> dict[str, Any]:
    """Each reel in a transaction of its own; one that may not be used for another reason stays held."""
    notice = SafetyNotice.objects.get(pk=notice_id)
    actor, freed = Actor(Person.objects.get(pk=person)), 0
    held = NoticedReel.objects.filter(notice=notice, hold__ended_at__isnull=True, hold__isnull=False).order_by("pk")
    rows = list(held.select_related("reel__chain", "reel__type"))
    for number, row in enumerate(rows):
        context.progress(f"Reels of {notice.reference} are let go.", number, len(rows))
        with transaction.atomic():
            context.require()
            freed += _free(notice, row, actor)
    stays = len(rows) - freed
    summary = [f"{counted(freed, 'reel')} let go."]
    more = [f"{counted(stays, 'reel')} with a stop finding, or received not sound, stay held."] if stays else []
    return {"let_go": freed, "in_words": summary + more}


def have_looked_for() -> TaskRun:
    """Have a worker hold the reels that have come under standing notices by another publication. Raises QueueFull."""
    return tasks.put(hold_by_publication, key="safety notices by publication", title="Safety notices by publication")


def task_of(notice: SafetyNotice) -> TaskRun | None:
    """The newest task that holds its reels, or lets them go, while it is kept. One query."""
    keys = (_key(notice), _key(notice, "lifted"))
    return TaskRun.objects.select_related("result").filter(key__in=keys).order_by("-asked_at").first()


def _key(notice: SafetyNotice, *more: str) -> str:
    return " ".join(("safety notice", str(notice.pk), *more))


def _notice(facts: SafetyNoticeFields, actor: Actor, at: datetime) -> SafetyNotice:
    reel_type = reel_access.reel_type(facts.reel_type) if facts.reel_type else None
    sites = reel_access.readable_sites(actor.person, at)
    site = reel_access.one(sites, "site", code=facts.site) if facts.site else None
    if not (reel_type or site or facts.cable_lot or facts.publication):
        raise ValueNotTaken(field="reel_type", seen="nothing", allowed="a type, site, cable or publication")
    if facts.publication_revision and not facts.publication:
        allowed = "nothing, without its publication"
        raise ValueNotTaken(field="publication_revision", seen=facts.publication_revision, allowed=allowed)
    return SafetyNotice(
        reference=facts.reference, reason=facts.reason, type=reel_type, site=site, cable_lot=facts.cable_lot,
        publication=facts.publication, publication_revision=facts.publication_revision, issued_at=at,
        issued_by=actor.person,
    )  # fmt: skip


def _free(notice: SafetyNotice, row: NoticedReel, actor: Actor) -> bool:
    """Whether the reel was let go."""
    [locked] = reel_access.lock(row.reel.chain.name)
    hold = Hold.objects.get(noticed_reel=row)
    not_sound = Move.objects.filter(reel=row.reel, found_sound=False, ended_at__gte=hold.placed_at)
    if hold.ended_at or is_stopped(row.reel) or not_sound.exists():
        return False
    with record_act(locked, "hold_ended", actor, timezone.now(), reference=notice.reference) as act:
        let_hold_end(act, hold, row.reel, f"safety notice {notice.reference} was lifted: {notice.lift_reason}")
    return True


@transaction.atomic
def hold_covered_reel(notice: SafetyNotice, chain: str, actor: Actor) -> None:
    """Hold one in an act of its own; none where it is told already, no longer covered, or the notice was lifted."""
    [locked], at = reel_access.lock(chain), timezone.now()
    reel = covered_by(notice, at).select_related("type", "site").filter(chain=locked).first()
    if reel is None or SafetyNotice.objects.filter(pk=notice.pk, lifted_at__isnull=False).exists():
        return  # it was lifted, or the reel is no longer covered or was told meanwhile
    with record_act(locked, "held_by_notice", actor, at, reference=notice.reference) as act:
        note(act, reel, notice)


def note(act: ActRecorder, reel: Reel, notice: SafetyNotice) -> None:
    """Within another act: the reel is covered by a notice, and held by it, unless it is held already."""
    hold = None if hold_on(reel) else hold_reel(act, reel, notice.why_held)
    act.add(NoticedReel(notice=notice, reel=reel, noticed_at=act.at, hold=hold))


def hold_what_came(act: ActRecorder) -> None:
    """Before an act ends: what it brought under a standing notice is held in it, or by a worker, if that is much."""
    tables = {change.table for change in act.changes}
    if tables.isdisjoint(BRINGS | BRINGS_MANY) or not standing().exists():
        return
    if not tables.isdisjoint(BRINGS_MANY):
        transaction.on_commit(have_looked_for, robust=True)
    reel = Reel.objects.select_related("type", "site").filter(chain=act.chain, retired_at__isnull=True).first()
    if reel is None:
        return
    for notice in covering(reel, act.at):
        note(act, reel, notice)


def let_hold_end(act: ActRecorder, hold: Hold, reel: Reel, reason: str, happened_at: datetime | None = None) -> None:
    """Within another act: a hold ends. A life that is over, or a notice that found the reel held, holds it on.

    happened_at: when it ended; None: now.
    """
    ended_at = happened_at or act.at
    act.change(hold, ended_at=ended_at, ended_by=act.actor.person, end_reason=reason, end_recorded_at=act.at)
    hold_if_over(act, reel)
    waiting = NoticedReel.objects.select_related("notice").filter(
        reel=reel, hold__isnull=True, notice__lifted_at__isnull=True
    )
    if (row := waiting.order_by("pk").first()) and hold_on(reel) is None:
        act.change(row, hold=hold_reel(act, reel, row.notice.why_held, since=ended_at))
