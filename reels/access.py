"""Who may see what: the one way to a reel, a machine or a site, and the locks on them.

Reading goes by posting: a person sees the reels of the sites where they are posted on that day. What they may do there
is a matter of authorisations, in `inspections`. What somebody may not see is answered as if it were not there.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.db.models import Exists, Max, Model, OuterRef, Prefetch, Q, QuerySet

from reels.errors import (
    Busy,
    FeedIsShorter,
    NotAllowed,
    NotEnrolled,
    NotFound,
    OnlyAdministrators,
    PasswordNotOwn,
    SecondFactorMissing,
)
from reels.models import (
    Alarm,
    ApiToken,
    Chain,
    FeedPlace,
    HistoryEntry,
    Installation,
    Machine,
    Move,
    Person,
    Posting,
    Publication,
    Reel,
    ReelType,
    SecondFactor,
    Site,
    TaskRun,
    Witness,
    WrapGauge,
)

REGISTER = "register"  # the chain of everything that belongs to no single reel: people, sites, types, machines
Row = TypeVar("Row", bound=Model)


def reel_chain(serial: str) -> str:
    return f"reel:{serial}"


def lock(*names: str) -> list[Chain]:
    """Lock chains in sorted order, within a transaction; the row of a chain is the lock of all that it tells.

    Returns the chains in the order of the names given. Raises Busy when one of them is not there.
    """
    assert transaction.get_connection().in_atomic_block, "a lock lasts as long as its transaction"
    # By name, which PostgreSQL locks in that order: two acts that need the same two chains can't each hold one and wait
    # for the other.
    by_name = {chain.name: chain for chain in Chain.objects.select_for_update().filter(name__in=names).order_by("name")}
    if missing := set(names) - set(by_name):
        raise Busy(chains=sorted(missing))
    return [by_name[name] for name in names]


def lock_of_reel(**reel: Any) -> Chain | None:
    """Lock the chain of the reel that this finds, within a transaction; None when there is none."""
    assert transaction.get_connection().in_atomic_block, "a lock lasts as long as its transaction"
    # One query, by a join: the lock is had before anything is read that could change while it is waited for.
    where = {f"reel__{name}": value for name, value in reel.items()}
    return Chain.objects.select_for_update(of=("self",)).filter(**where).first()


def lock_if_free(name: str) -> bool:
    """Lock one chain, unless somebody else has it."""
    # Whoever has it does the same work: to wait would only be to do nothing later.
    return Chain.objects.select_for_update(skip_locked=True).filter(name=name).first() is not None


def lock_register() -> Chain:
    """Lock the register, which begins with the first thing written into it."""
    return lock_or_begin(REGISTER)


def lock_or_begin(name: str) -> Chain:
    """Lock one chain, within a transaction; it begins with the first act that it tells."""
    Chain.objects.get_or_create(name=name)
    return lock(name)[0]


def at_readable_sites(person: Person, at: datetime, site: str = "site", coming: str = "") -> Q:
    """The condition that a row's site is one at which the person is posted at that moment. One query.

    site: the way from the row to its site; a row without one is not seen. coming: the way to its reel, where one on
    its way to such a site is seen too; of one row, and never of a list.
    """
    postings = Posting.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gt=at), person=person, person__is_active=True, valid_from__lte=at
    )
    # A posting without a site is one to all of them.
    posted = set(postings.values_list("site", flat=True))
    if None in posted:
        return Q(**{f"{site}__isnull": False})
    here = Q(**{f"{site}__in": posted})
    sent_here = Move.objects.filter(to_site__in=posted, ended_at__isnull=True)
    return here | Q(**{f"{coming}__in": sent_here.values("reel")}) if coming else here


def readable_sites(person: Person, at: datetime) -> QuerySet[Site]:
    return Site.objects.filter(at_readable_sites(person, at, "pk"))


def readers_of(reel: Reel, at: datetime) -> QuerySet[Person]:
    """Who may see the reel now, by name."""
    posted = Posting.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gt=at), Q(site__isnull=True) | Q(site=reel.site_id),
        valid_from__lte=at,
    )  # fmt: skip
    return Person.objects.filter(is_active=True, pk__in=posted.values("person")).order_by("full_name")


def readable_reels(person: Person, at: datetime) -> QuerySet[Reel]:
    return Reel.objects.filter(at_readable_sites(person, at)).select_related("type", "site", "chain")


def reels_to_look_at(person: Person, at: datetime) -> QuerySet[Reel]:
    """Those and the reels on their way to the person's sites: to get one of them, never for a list."""
    return Reel.objects.filter(at_readable_sites(person, at, coming="pk")).select_related("type", "site", "chain")


def reels_in_transit() -> QuerySet[Reel]:
    """Every reel that is, for whoever has one before their eyes that was sent elsewhere."""
    under_way = Move.objects.filter(ended_at__isnull=True)
    return Reel.objects.filter(pk__in=under_way.values("reel")).select_related("type", "site", "chain")


def moves_of_sites(person: Person, at: datetime) -> QuerySet[Move]:
    """The moves from and to the sites where the person is posted, with their ends."""
    sites = readable_sites(person, at).values("pk")
    moves = Move.objects.filter(Q(from_site__in=sites) | Q(to_site__in=sites) | Q(received_site__in=sites))
    return moves.select_related("reel__type", "from_site", "to_site", "received_site", "sent_by", "ended_by")


def readable_machines(person: Person, at: datetime) -> QuerySet[Machine]:
    return Machine.objects.filter(at_readable_sites(person, at)).select_related("site")


def machines_to_look_at(person: Person, at: datetime) -> QuerySet[Machine]:
    """Those at the person's sites, all for an administrator; with holds, gauges, and `now_in`: the reel in each."""
    rows = Machine.objects.select_related("site") if person.is_staff else readable_machines(person, at)
    stays = Installation.objects.filter(removed_at__isnull=True).select_related("reel")
    return rows.prefetch_related("holds", "gauges", Prefetch("installations", stays, to_attr="now_in"))


def serials_of_reels() -> QuerySet[Reel, str]:
    """Every serial on record, for an administrator whose file spells some otherwise."""
    return Reel.objects.order_by("serial").values_list("serial", flat=True)


def readable_history(reel: Reel) -> QuerySet[HistoryEntry]:
    """The history of a reel that was got from here, oldest first. It never holds a value that is still blind."""
    return HistoryEntry.objects.filter(chain=reel.chain_id).select_related("actor").order_by("seq")


def reel_for_read(serial: str, person: Person, at: datetime) -> Reel:
    """The reel, or NotFound when there is none that the person may see."""
    return one(reels_to_look_at(person, at), "reel", serial=serial)


def reel_for_update(serial: str, person: Person, at: datetime) -> Reel:
    """The reel with its chain locked, read after the lock was had; NotFound when the person may not see it."""
    # Locked first and read then: what was read before the lock may be what the one before us has just changed.
    lock_of_reel(serial=serial)
    return reel_for_read(serial, person, at)


def readable_gauges(person: Person, at: datetime) -> QuerySet[WrapGauge]:
    """The wrap gauges of the machines that the person may see, with what they fit; all, for an administrator."""
    gauges = WrapGauge.objects.select_related("machine__site").prefetch_related("types", "calibrations")
    return gauges if person.is_staff else gauges.filter(at_readable_sites(person, at, "machine__site"))


def gauge_for_read(serial: str, person: Person, at: datetime) -> WrapGauge:
    """The wrap gauge, or NotFound when there is none that the person may see."""
    return one(readable_gauges(person, at), "wrap gauge", serial=serial)


def machine_for_read(serial: str, person: Person, at: datetime) -> Machine:
    """The machine, or NotFound when there is none that the person may see."""
    return one(readable_machines(person, at), "machine", serial=serial)


def machines() -> QuerySet[Machine]:
    """Every machine, for administrators who name the one that a thing belongs to."""
    return Machine.objects.all()


def machine(serial: str) -> Machine:
    """Any machine, for a service that says which thing belongs to it."""
    return one(Machine.objects.all(), "machine", serial=serial)


def reel_type(code: str) -> ReelType:
    """The reel type; types are open to everybody who is logged in."""
    return one(reel_types(), "reel type", code=code)


def reel_types() -> QuerySet[ReelType]:
    """Every reel type; types are open to everybody who is logged in."""
    return ReelType.objects.select_related("rules_confirmed_by")


def publications() -> QuerySet[Publication]:
    """Every publication with its types; they are open to everybody who is logged in."""
    return Publication.objects.prefetch_related("types")


def witnesses() -> QuerySet[Witness]:
    """Every witness, ended ones too; they are open to everybody who is logged in."""
    return Witness.objects.order_by("name", "id")


def witness(witness_id: int) -> Witness:
    """The witness; they are open to everybody who is logged in."""
    return one(witnesses(), "witness", pk=witness_id)


def publication(publication_id: int) -> Publication:
    """The publication; they are open to everybody who is logged in."""
    return one(publications(), "publication", pk=publication_id)


def sites() -> QuerySet[Site]:
    """Every site, for naming where a reel is sent."""
    return Site.objects.all()


def site(code: str) -> Site:
    """Any site, for a service that says who may do what there."""
    return one(Site.objects.all(), "site", code=code)


def person_named(username: str) -> Person:
    """Somebody who is to be named in a record; NotFound for a closed account."""
    return one(Person.objects.filter(is_active=True), "person", username=username)


def people(administrator: Person) -> QuerySet[Person]:
    """Everybody with a login, with their postings. Raises OnlyAdministrators."""
    only_administrators(administrator)
    return Person.objects.select_related("login_given_by", "enrolled_by").prefetch_related("postings__site")


def people_and_their_logins(administrator: Person, at: datetime) -> QuerySet[Person]:
    """Everybody, with `has_second_factor`, and `locked_until` where locked anywhere. Raises OnlyAdministrators."""
    in_force = SecondFactor.objects.filter(person=OuterRef("pk"), confirmed_at__isnull=False, ended_at__isnull=True)
    locked_until = Max("tries__until", filter=Q(tries__is_locked=True, tries__until__gt=at))
    marked = people(administrator).annotate(has_second_factor=Exists(in_force), locked_until=locked_until)
    return marked.order_by("username")  # a query with an aggregate leaves the model's own order out


def posting_for_administrator(posting_id: int, administrator: Person) -> Posting:
    """One posting. Raises OnlyAdministrators or NotFound."""
    only_administrators(administrator)
    return one(Posting.objects.select_related("person", "site"), "posting", pk=posting_id)


def person_for_administrator(username: str, administrator: Person) -> Person:
    """One person with their postings. Raises OnlyAdministrators or NotFound."""
    return one(people(administrator), "person", username=username)


def tokens_to_look_at(person: Person) -> QuerySet[ApiToken]:
    """One's own tokens; every one, for an administrator whose login is settled."""
    rows = ApiToken.objects.select_related("person", "issued_by", "revoked_by").order_by("-id")
    return rows if administers(person) else rows.filter(person=person)


def token_to_revoke(token_id: int, person: Person) -> ApiToken:
    """A token that the person may end. Raises NotFound."""
    return one(tokens_to_look_at(person), "token", pk=token_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedPart:
    """A part of the feed: entries in its order, the number to go on after, and whether more is numbered already."""

    entries: list[HistoryEntry]
    after: int
    more: bool


def feed_after(after: int, size: int, person: Person, at: datetime) -> FeedPart:
    """Entries of the reels that the person may see, from a number on. Three queries, the postings included.

    Raises FeedIsShorter when the feed ends before that number.
    """
    last = FeedPlace.objects.aggregate(last=Max("number"))["last"] or 0
    if after > last:
        raise FeedIsShorter(after=after, last=last)
    places = FeedPlace.objects.filter(
        at_readable_sites(person, at, "entry__chain__reel__site"), number__gt=after, number__lte=last
    ).select_related("entry__actor", "entry__chain__reel")
    # One more than asked for tells whether there is more, without a count of the whole feed.
    page = list(places.order_by("number")[: size + 1])
    more, page = len(page) > size, page[:size]
    end = page[-1].number if more else last
    return FeedPart(entries=[place.entry for place in page], after=end or last, more=more)


def one(rows: QuerySet[Row], what: str, **key: Any) -> Row:
    """The one row with this key, or NotFound in words."""
    try:
        return rows.get(**key)
    except ObjectDoesNotExist:
        raise NotFound(what=what, key=next(iter(key.values()))) from None


def first_administrator() -> Person | None:
    """Who was made an administrator first; None in a service that nobody has begun with."""
    return Person.objects.filter(is_staff=True).order_by("pk").first()


def administers(person: Person) -> bool:
    """Whether the person has an administrator's rights: as `only_administrators`, in a word."""
    try:
        only_administrators(person)
    except NotAllowed:
        return False
    return True


def only_administrators(person: Person) -> None:
    """Raises OnlyAdministrators for anybody else, NotEnrolled or PasswordNotOwn for one whose login is not settled."""
    if not (person.is_active and person.is_staff):
        raise OnlyAdministrators(username=person.username)
    require_settled(person)


# Logins -------------------------------------------------------------------------------------------------------------


def settled(path: str = "") -> Q:
    """People whose login is certainly theirs: in use, enrolled, and with a password that nobody gave them.

    path: from the rows that are filtered to the person, as "person__".
    """
    conditions = {"is_active": True, "must_change_password": False, "enrolled_at__isnull": False}
    return Q(**{f"{path}{name}": value for name, value in conditions.items()})


def require_settled(person: Person) -> None:
    """Raises PasswordNotOwn or NotEnrolled for somebody whose login is not settled yet."""
    if person.must_change_password:
        raise PasswordNotOwn(name=person.full_name)
    if person.enrolled_at is None:
        raise NotEnrolled(name=person.full_name)


def require_own_login(person: Person) -> None:
    """Whether the login may do anything at all. Raises PasswordNotOwn or SecondFactorMissing."""
    if person.must_change_password:
        raise PasswordNotOwn(name=person.full_name)
    if settings.SECOND_FACTOR == "everyone" and second_factor_of(person) is None:
        raise SecondFactorMissing(name=person.full_name)


def to_be_enrolled_again(person: Person, by: Person) -> dict[str, Any]:
    """What changes of a login that an administrator had a hand in: somebody else is to enrol its owner again."""
    return {"login_given_by": by, "enrolled_by": None, "enrolled_at": None, "session_round": person.session_round + 1}


def second_factor_of(person: Person) -> SecondFactor | None:
    return SecondFactor.objects.filter(person=person, confirmed_at__isnull=False, ended_at__isnull=True).first()


def task(pk: UUID, person: Person) -> TaskRun:
    """A task, for who asked for it and for administrators; one that is anybody's, for everybody. Raises NotFound."""
    rows = TaskRun.objects.select_related("result", "asked_by", "stopped_by")
    if not (person.is_active and person.is_staff):
        rows = rows.filter(Q(asked_by=None) | Q(asked_by=person))
    return one(rows, "task", pk=pk)


def tasks(administrator: Person) -> QuerySet[TaskRun]:
    """Every task that is kept, the newest first. Raises OnlyAdministrators."""
    only_administrators(administrator)
    return TaskRun.objects.select_related("result", "asked_by", "stopped_by").order_by("-asked_at", "-key")


def alarms(administrator: Person) -> QuerySet[Alarm]:
    """Every alarm, the newest first. Raises OnlyAdministrators."""
    only_administrators(administrator)
    return Alarm.objects.select_related("person")
