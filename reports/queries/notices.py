"""What somebody must act on now, and who asked to be told of it. A fixed number of queries each."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from inspections.domain.findings import Severity
from inspections.domain.words import NoticedState, ReelStatus
from inspections.models import Authorisation, DriftFlag, Finding, NoticedReel, ReadBack, ReelStatusRow, SetupValues
from inspections.queries.currency import currency_in
from inspections.queries.safety_notices import standing
from reels import access as reel_access
from reels.domain import ledger
from reels.domain.text import set_apart
from reels.models import Hold, Move, Person, Posting, Reel, Site
from reports.domain.notices import WINDOW, Cause, NoticeKind, NoticeState, Reader
from reports.models import Notice, NoticeAddress, NoticeChoice


def standing_causes(at: datetime) -> list[Cause]:
    """What is still to be acted on at that moment and began no longer than 30 days before. Twelve queries."""
    holds = Hold.objects.filter(ended_at__isnull=True, placed_at__gte=at - WINDOW, reel__retired_at__isnull=True)
    holds = holds.select_related("reel__site")
    by_finding = Exists(Finding.objects.filter(hold=OuterRef("pk")))
    by_notice = Exists(NoticedReel.objects.filter(hold=OuterRef("pk")))
    stops = Finding.objects.filter(
        severity=Severity.STOP, closed_at__isnull=True, recorded_at__gte=at - WINDOW, reel__retired_at__isnull=True
    )
    late = Move.objects.filter(ended_at__isnull=True, late_at__lte=at, late_at__gte=at - WINDOW)
    flags = DriftFlag.objects.filter(closed_at__isnull=True, raised_at__gte=at - WINDOW)
    return [
        *(_of_reel(NoticeKind.HOLD, hold.pk, hold.reel, hold.placed_at, by_finding=hold.by_finding,
                   by_notice=hold.by_notice)
          for hold in holds.annotate(by_finding=by_finding, by_notice=by_notice).order_by("pk")),
        *(_of_reel(NoticeKind.FINDING, stop.pk, stop.reel, stop.recorded_at)
          for stop in stops.select_related("reel__site").order_by("pk")),
        *_withdrawals(at), *_read_backs(at), *_lapsed(at), *_near_their_ends(at),
        *(_of_reel(NoticeKind.FLAG, flag.pk, flag.reel, flag.raised_at)
          for flag in flags.select_related("reel__site").order_by("pk")),
        *(_of_reel(NoticeKind.LATE_MOVE, move.pk, move.reel, move.late_at, also=(move.to_site_id,),
                   to_name=move.to_site.name)
          for move in late.select_related("reel__site", "to_site").order_by("pk")),
        *_safety_notices(at), *_authorisations(at),
    ]  # fmt: skip


def readers(at: datetime) -> list[Reader]:
    """Who gave an address and chose something, with where they may read at that moment. Three queries.

    Nobody whose account is closed, or whose password is still one that an administrator gave.
    """
    people = Person.objects.filter(is_active=True, must_change_password=False).exclude(notice_address__address="")
    asked = people.filter(notice_address__isnull=False, pk__in=NoticeChoice.objects.values("person"))
    rows = list(asked.select_related("notice_address").order_by("pk"))
    chosen = defaultdict(set)
    for person, kind, site in NoticeChoice.objects.filter(person__in=rows).values_list("person", "kind", "site"):
        chosen[person].add((NoticeKind(kind), site))
    posted = defaultdict(set)
    in_force = Posting.objects.filter(Q(valid_until__isnull=True) | Q(valid_until__gt=at), valid_from__lte=at)
    for person, site in in_force.filter(person__in=rows).values_list("person", "site"):
        posted[person].add(site)
    return [
        Reader(
            person=row.pk, address=row.notice_address.address, is_administrator=row.is_staff and row.is_enrolled,
            sites=None if None in posted[row.pk] else frozenset(posted[row.pk]),  # a posting without a site: to all
            chosen=frozenset(chosen[row.pk]),
        )
        for row in rows
    ]  # fmt: skip


def unsent(state: NoticeState) -> QuerySet[Notice]:
    """The notices that wait, or that were being sent when a run was interrupted."""
    return Notice.objects.filter(state=state).order_by("pk")


def choices_of(person: Person) -> set[tuple[str, str | None]]:
    """Kinds, and the codes of their sites (None: every site). One query."""
    return set(NoticeChoice.objects.filter(person=person).values_list("kind", "site__code"))


def last_not_sent(person: Person) -> Notice | None:
    """The newest notice to the person that a mail server refused. One query."""
    refused = Notice.objects.filter(person=person, state=NoticeState.WAITING, tries__gte=1).exclude(last_error="")
    return refused.order_by("tried_at", "pk").last()


# Causes -------------------------------------------------------------------------------------------------------------


def _withdrawals(at: datetime) -> Iterator[Cause]:
    """The newest values of a reel, if they were withdrawn."""
    newer = SetupValues.objects.filter(reel=OuterRef("reel"), pk__gt=OuterRef("pk"))
    holds = Hold.objects.filter(reel=OuterRef("reel"), placed_at=OuterRef("withdrawn_at"))
    by_notice = NoticedReel.objects.filter(hold__reel=OuterRef("reel"), hold__placed_at=OuterRef("withdrawn_at"))
    rows = SetupValues.objects.filter(~Exists(newer), withdrawn_at__gte=at - WINDOW, reel__retired_at__isnull=True)
    rows = rows.annotate(by_hold=Exists(holds), by_notice=Exists(by_notice))
    for values in rows.select_related("reel__site", "machine").order_by("pk"):
        assert values.withdrawn_at is not None, "the rows are those with a time"
        yield _of_reel(
            NoticeKind.WITHDRAWAL, values.pk, values.reel, values.withdrawn_at,
            setup_values=values.pk, machine=values.machine.serial, by_hold=values.by_hold,
            by_notice=values.by_notice,
        )  # fmt: skip


def _read_backs(at: datetime) -> Iterator[Cause]:
    """The first refused one of values in force since the last that matched: keyed wrong again, it is no new cause."""
    matched = ReadBack.objects.filter(setup_values=OuterRef("setup_values"), pk__gt=OuterRef("pk"), matches=True)
    rows = ReadBack.objects.filter(~Exists(matched), matches=False, setup_values__withdrawn_at__isnull=True)
    firsts: dict[int, ReadBack] = {}
    for row in rows.select_related("setup_values__reel__site", "setup_values__machine").order_by("pk"):
        firsts.setdefault(row.setup_values_id, row)
    for first in firsts.values():
        values = first.setup_values
        if first.keyed_at >= at - WINDOW:
            yield _of_reel(
                NoticeKind.READ_BACK, first.pk, values.reel, first.keyed_at,
                setup_values=values.pk, machine=values.machine.serial,
            )  # fmt: skip


def _lapsed(at: datetime) -> Iterator[Cause]:
    """Values in force of which the count has lapsed: by days, or by uses, which do not withdraw them."""
    can_lapse = Q(reel__type__count_days__isnull=False) | Q(reel__status_row__count_ended_at__isnull=False)
    rows = SetupValues.objects.filter(can_lapse, withdrawn_at__isnull=True, reel__retired_at__isnull=True)
    for values in rows.select_related("reel__site", "reel__type", "reel__status_row", "machine").order_by("pk"):
        reel: Any = values.reel
        currency = currency_in(reel.status_row, reel.site, reel.type.count_days, at)
        if currency and currency.ended_at and currency.ended_at >= at - WINDOW:
            yield _of_reel(NoticeKind.LAPSED, values.pk, reel, currency.ended_at, setup_values=values.pk,
                           machine=values.machine.serial)  # fmt: skip


def _near_their_ends(at: datetime) -> Iterator[Cause]:
    """Reels that have reached a soft limit and no hard one, by which they are held."""
    is_over = Q(hard_limit_at__isnull=False, hard_limit_at__lte=at)
    rows = ReelStatusRow.objects.filter(soft_limit_at__lte=at, soft_limit_at__gte=at - WINDOW).exclude(is_over)
    for row in rows.exclude(status=ReelStatus.RETIRED).select_related("reel__site").order_by("pk"):
        assert row.soft_limit_at is not None, "the rows are those with a time"
        # Of a reel and a day, for with another cable the same limit is reached anew.
        key = row.reel_id * 100_000 + int(row.soft_limit_at.timestamp()) // 86_400
        yield _of_reel(NoticeKind.LIFE, key, row.reel, row.soft_limit_at)


def goes_on_longer(ends_at: str = "valid_until") -> Exists:
    """Of authorisations that end: that another one for the same goes on. ends_at: the column with when they end."""
    longer = Authorisation.objects.filter(
        Q(valid_until__isnull=True) | Q(valid_until__gt=OuterRef(ends_at)),
        Q(reel_type__isnull=True) | Q(reel_type=OuterRef("reel_type")),
        Q(site__isnull=True) | Q(site=OuterRef("site")),
        person=OuterRef("person"),
        act=OuterRef("act"),
        valid_from__lte=OuterRef(ends_at),
        ended_at__isnull=True,
    )
    return Exists(longer)


def _safety_notices(at: datetime) -> Iterator[Cause]:
    """Those that stand, at the sites of the reels that they hold. Three queries."""
    notices = {row.pk: row for row in standing().filter(issued_at__gte=at - WINDOW).order_by("pk")}
    held = NoticedReel.objects.filter(NoticedReel.in_state(NoticedState.HELD), notice__in=notices)
    places: dict[int, list[int]] = defaultdict(list)
    for pk, site in held.order_by("notice", "reel__site").values_list("notice", "reel__site").distinct():
        places[pk].append(site)
    names = Site.objects.in_bulk({site for sites in places.values() for site in sites})
    for pk, sites in places.items():
        first, *others = (names[site] for site in sites)
        yield Cause(
            kind=NoticeKind.SAFETY_NOTICE, key=pk, since=notices[pk].issued_at.astimezone(first.zone), site=first.pk,
            site_name=", ".join(names[site].name for site in sites), also=tuple(site.pk for site in others),
        )  # fmt: skip


def _authorisations(at: datetime) -> Iterator[Cause]:
    """Those that end within 30 days, where no other one for the same goes on longer."""
    rows = Authorisation.objects.filter(
        ~goes_on_longer(), reel_access.settled("person__"), ended_at__isnull=True, valid_from__lte=F("valid_until"),
        valid_until__gt=at, valid_until__lte=at + WINDOW,
    )  # fmt: skip
    for each in rows.select_related("person", "site", "reel_type").order_by("pk"):
        assert each.valid_until is not None, "the rows are those with an end"
        site, reel_type = each.site, each.reel_type.code if each.reel_type else "every reel type"
        yield Cause(
            kind=NoticeKind.AUTHORISATION,
            key=each.pk,
            since=each.valid_until.astimezone(ZoneInfo(site.time_zone if site else "UTC")),
            site=each.site_id,
            site_name=site.name if site else "every site",
            person=each.person_id,
            authorisation=f"of {set_apart(each.person.full_name)} to {each.verb}, for {reel_type},",
        )


def _of_reel(kind: NoticeKind, key: int, reel: Reel, since: datetime, **more: Any) -> Cause:
    at_the_site = since.astimezone(ZoneInfo(reel.site.time_zone))
    return Cause(
        kind=kind, key=key, since=at_the_site, site=reel.site_id, site_name=reel.site.name, reel=reel.serial, **more
    )


def digest_of_choices(row: NoticeAddress) -> str:
    """SHA-256 over an address with its salt, and what its owner has chosen. One query."""
    chosen = NoticeChoice.objects.filter(person=row.person_id).order_by("kind", "site").values_list("kind", "site")
    contents = {"address": row.address, "salt": row.salt, "chosen": sorted([kind, site or 0] for kind, site in chosen)}
    return ledger.digest(ledger.canonical(contents))
