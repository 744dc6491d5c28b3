"""The board of maintenance control: every reel by site and status, and what each needs next, since when."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone

from inspections.domain.words import ReelStatus
from inspections.pages.paging import Pages, one_page
from inspections.pages.words import STATUS
from inspections.queries.board import Place, moments, places
from reels import access
from reels.models import Person
from reels.pages.answers import page, reader, show
from reels.pages.formats import Badge, day_at
from reports.services.drift_report import flagged_reels

SIZE = 50
RANK = {status: place for place, status in enumerate(STATUS)}
DUE = Badge(word="Count due", icon="awaited", tone="doing")
FLAG_OPEN = Badge(word="Drift looked into", icon="half", tone="doing")
FLAGGED = Badge(word="Drift flagged", icon="referred", tone="stop")

# What a reel needs next, and the columns of which the latest says since when.
NEXT = {
    ReelStatus.HELD: ("End the hold, or retire it", ("held_at",)),
    ReelStatus.REFERRED: ("Release its count, with a reason", ("referred_at",)),
    ReelStatus.WITHOUT_VALUES: ("Take it off and count it", ("withdrawn_at", "installed_at")),
    ReelStatus.AWAITING_SIGN_OFF: ("Sign its count", ("worked_out_at",)),
    ReelStatus.COUNT_OPEN: ("Finish its count", ("opened_at",)),
    ReelStatus.AWAITING_COUNT: ("Count it", ("changed_at", "withdrawn_at")),
    ReelStatus.COUNTED: ("Issue setup values", ("signed_at", "withdrawn_at")),
    ReelStatus.VALUES_ISSUED: ("Install it in {values_machine}", ("issued_at",)),
    ReelStatus.INSTALLED: ("Set, read back and confirm its values", ("installed_at", "issued_at")),
    ReelStatus.VALUES_CONFIRMED: ("Nothing", ("confirmed_at",)),
    ReelStatus.RETIRED: ("Nothing", ("gone_at",)),
}

# Those of which the status says already that a count is wanted or under way.
COUNTING = (ReelStatus.AWAITING_COUNT, ReelStatus.COUNT_OPEN, ReelStatus.AWAITING_SIGN_OFF, ReelStatus.REFERRED)


class BoardFilter(forms.Form):
    q = forms.CharField(label="Serial, machine or host", required=False, max_length=60)
    site = forms.ChoiceField(label="Site", required=False)
    status = forms.ChoiceField(label="Status", required=False)
    look = forms.ChoiceField(
        label="Needs a look", required=False,
        choices=[("", "everything"), ("due", "count due"), ("flagged", "drift flagged"), ("open", "drift looked into")],
    )  # fmt: skip

    def __init__(self, data: QueryDict, sites: Iterable[tuple[str, str]]) -> None:
        super().__init__(data, auto_id="filter-%s", label_suffix="")
        offered: dict[str, list[tuple[str, str]]] = {
            "site": [("", "every site"), *sites],
            "status": [("", "every status"), *((status.value, badge.word) for status, badge in STATUS.items())],
        }
        for name, choices in offered.items():
            field: Any = self.fields[name]
            field.choices = choices
        self.is_valid()

    @property
    def chosen(self) -> dict[str, str]:
        """The filters that are set and make sense, as they stand in the address."""
        return {name: value for name, value in self.cleaned_data.items() if value}


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRow:
    reel: Any
    badge: Badge
    marks: list[Badge]
    next: str
    why: str
    since: datetime
    counted_on: date | None
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """How many reels of a site have a status, and the address that shows them."""

    word: str
    number: int
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    filter: BoardFilter
    statuses: list[Badge]
    sites: list[tuple[str, list[Cell]]]
    pages: Pages
    due: int
    flagged: int
    due_days: int


@page
def board(request: HttpRequest) -> HttpResponse:
    shown = board_of(request.GET, reader(request), timezone.now())
    return show(request, "reports/board.html", {"board": shown, "section": "board"})


def board_of(asked: QueryDict, person: Person, at: datetime) -> Board:
    """The board. Seven queries, however many reels there are."""
    readable = access.readable_reels(person, at)
    sites = dict(access.readable_sites(person, at).values_list("code", "name"))
    form = BoardFilter(asked, sites.items())
    chosen = form.chosen
    flagged = flagged_reels(readable)
    found = places(readable, chosen.get("q", ""))
    due_before = at - timedelta(days=settings.COUNT_DUE_DAYS)
    wanted = sorted(
        (each for each in found if _is_wanted(each, chosen, flagged, due_before)),
        key=lambda each: (RANK[ReelStatus(each.status)], _last_count(each), each.serial),
    )
    pages = one_page(wanted, asked, SIZE, lambda place: place, kept=chosen)
    rows = _rows(pages.rows, moments(readable.filter(pk__in=[each.pk for each in pages.rows])), flagged, due_before)
    statuses = [status for status in STATUS if any(each.status == status for each in found)]
    return Board(
        filter=form,
        statuses=[STATUS[status] for status in statuses],
        sites=_matrix(found, sites, statuses, chosen),
        pages=Pages(rows=rows, number=pages.number, of=pages.of, total=pages.total, earlier=pages.earlier,
                    later=pages.later),
        due=sum(_is_due(each, due_before) for each in found),
        flagged=sum(each.pk in flagged for each in found),
        due_days=settings.COUNT_DUE_DAYS,
    )  # fmt: skip


def _last_count(place: Place) -> datetime:
    """When it was last counted; when it came for one that never was."""
    return place.counted_at or datetime.combine(place.received_on, time.min, tzinfo=UTC)


def _is_due(place: Place, due_before: datetime) -> bool:
    return place.status != ReelStatus.RETIRED and _last_count(place) <= due_before


def _is_wanted(place: Place, chosen: dict[str, str], flagged: frozenset[int], due_before: datetime) -> bool:
    looks = {"due": _is_due(place, due_before), "flagged": place.pk in flagged, "open": place.has_open_flag}
    return (
        chosen.get("site", place.site) == place.site
        and chosen.get("status", place.status) == place.status
        and looks.get(chosen.get("look", ""), True)
    )


def _matrix(found: Sequence[Place], sites: dict[str, str], statuses: list[ReelStatus], chosen: dict[str, str]
            ) -> list[tuple[str, list[Cell]]]:  # fmt: skip
    numbers = Counter((each.site, each.status) for each in found)
    kept = {name: value for name, value in chosen.items() if name == "q"}

    def cell(site: str, status: ReelStatus) -> Cell:
        address = "?" + urlencode({**kept, "site": site, "status": status.value})
        return Cell(word=STATUS[status].word, number=numbers[site, status.value], address=address)

    return [(name, [cell(site, status) for status in statuses]) for site, name in sites.items()]


def _rows(
    shown: Sequence[Place], details: dict[int, Any], flagged: frozenset[int], due_before: datetime
) -> list[BoardRow]:
    return [_row(each, details[each.pk], flagged, due_before) for each in shown if each.pk in details]


def _row(place: Place, reel: Any, flagged: frozenset[int], due_before: datetime) -> BoardRow:
    status = ReelStatus(place.status)
    words, columns = NEXT[status]
    is_due = _is_due(place, due_before)
    marks = ((DUE, is_due and status not in COUNTING), (FLAGGED, place.pk in flagged), (FLAG_OPEN, place.has_open_flag))
    if is_due and status is ReelStatus.VALUES_CONFIRMED:
        words = "Take it off and count it: a count is due"
    return BoardRow(
        reel=reel,
        badge=STATUS[status],
        marks=[badge for badge, holds in marks if holds],
        next=words.format(values_machine=reel.values_machine),
        why=reel.held_why or "",
        since=max((moment for name in columns if (moment := getattr(reel, name))), default=_last_count(place)),
        counted_on=day_at(reel.site, place.counted_at),
        address=_address(status, reel),
    )


def _address(status: ReelStatus, reel: Any) -> str:
    """Where the next thing is done; the reel's own page where it is done by several."""
    if reel.live_id and status in (ReelStatus.REFERRED, ReelStatus.AWAITING_SIGN_OFF, ReelStatus.COUNT_OPEN):
        return reverse("inspection", args=[reel.live_id])
    if reel.values_id and status in (ReelStatus.INSTALLED, ReelStatus.VALUES_ISSUED):
        return reverse("setup-values", args=[reel.values_id])
    return reverse("reel", args=[reel.serial])
