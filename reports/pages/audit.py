"""The audit of sign-offs: every signature, which deserve a look and why, who is authorised, are the records whole."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.pages.paging import counted_if_few, page_by_place
from inspections.queries import sign_offs
from reels import access
from reels.domain.words import counted
from reels.models import Person
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, DayFilter, Filter
from reels.pages.formats import day_words
from reels.queries import in_pages
from reels.standby import may_be_stale
from reports.access import audits_everything
from reports.domain.drift_rows import moment
from reports.domain.sign_off_review import (
    FAST,
    NEAR_END,
    REVIEW_REASONS,
    ReviewReason,
    is_fast,
    is_near_end,
    usual_pairs,
)
from reports.pages.written import csv_answer
from reports.services import verification_runs

SIZE, ROWS_AT_ONCE = 50, 500
ORDER = ("-signed_at", "-id")
ENDS_SOON = timedelta(days=60)
AUTHORISATIONS_SHOWN = 100
COLUMNS = ("inspection", "reel", "site", "meaning", "name", "staff_number", "signed_at", "record_digest",
           "signature_digest", "deserves_a_look")  # fmt: skip
Pairs = frozenset[tuple[int, int]]


class AuditFilter(Filter):
    person = ChoiceFilter("Person", "everybody")
    site = ChoiceFilter("Site", "every site")
    reel = forms.CharField(label="Reel", required=False, max_length=40)
    since = DayFilter("Signed from")
    until = DayFilter("Signed until")
    look = ChoiceFilter(
        "Points to review", "every signature",
        [("any", "any point"), *((look.value, words) for look, words in REVIEW_REASONS.items())],
    )  # fmt: skip


@page
@may_be_stale
def audit(request: HttpRequest) -> HttpResponse:
    """Twelve queries, however many signatures there are."""
    person, at = reader(request), timezone.now()
    form, rows, pairs = _found(request.GET, person, at)
    last = verification_runs.last_run()
    new = verification_runs.entries_since(last) if last else 0
    pages = page_by_place(
        rows, ORDER, request.GET, SIZE, lambda row: {"row": row, "looks": _looks(row, pairs)},
        total=counted_if_few(rows), kept=form.kept,
    )  # fmt: skip
    shown = {
        "filter": form,
        "pages": pages,
        "export": form.query,
        "authorisations": [
            {"row": row, "ends_soon": bool(row.valid_until and row.valid_until - at <= ENDS_SOON)}
            for row in sign_offs.authorisations_at(person, at)[:AUTHORISATIONS_SHOWN]
        ],
        "takes_evidence": audits_everything(person, at),
        "sees_all": sign_offs.may_audit(person, at),
        "last": last,
        "checked": verification_runs.how_much(last) if last else "",
        "since_then": "Nothing has" if new <= 0 else "1 entry has" if new == 1 else f"{new} entries have",
    }
    return show(request, "reports/audit.html", {"audit": shown, "section": "audit"})


@never_cache
@require_safe
@may_be_stale
def audit_csv(request: HttpRequest) -> HttpResponseBase:
    """The signatures that the filters of the page find, all of them."""
    _, rows, pairs = _found(request.GET, reader(request), timezone.now())
    return csv_answer(COLUMNS, _as_written(rows, pairs), "sign-offs.csv")


def _found(asked: QueryDict, person: Person, at: datetime) -> tuple[AuditFilter, QuerySet[Any], Pairs]:
    sites = access.readable_sites(person, at).values_list("code", "name")
    form = AuditFilter(asked, person=sign_offs.signers(person, at), site=sites)
    rows = sign_offs.signatures_matching(sign_offs.signatures(person, at), form.chosen)
    pairs = usual_pairs(sign_offs.signed_together(person, at))
    if look := form.chosen.get("look"):
        rows = rows.filter(
            _any_of(list(ReviewReason), pairs) if look == "any" else _any_of([ReviewReason(look)], pairs)
        )
    return form, rows, pairs


# What deserves a look: as a condition of a query, and in words ------------------------------------------------------


def _any_of(looks: list[ReviewReason], pairs: Pairs) -> Q:
    condition = Q(pk__in=())
    for look in looks:
        condition |= _condition(look, pairs)
    return condition


def _condition(look: ReviewReason, pairs: Pairs) -> Q:
    match look:
        case ReviewReason.FAST_PAIR:
            return sign_offs.within("other_at", FAST)
        case ReviewReason.NEAR_END:
            return sign_offs.not_after("ends_at", NEAR_END)
        case ReviewReason.READ_BACK:
            return Q(refused__gt=0)
        case ReviewReason.VOID:
            return Q(void_why__isnull=False)
        case ReviewReason.OUTLIER:
            return Q(outlier_why__isnull=False)
    usual = Q(pk__in=())
    for technician, verifier in pairs:
        usual |= Q(meaning="counted", person=technician, other_id=verifier)
        usual |= Q(meaning="verified", person=verifier, other_id=technician)
    return usual


def _looks(row: Any, pairs: Pairs) -> list[str]:
    pair = (row.person_id, row.other_id) if row.meaning == "counted" else (row.other_id, row.person_id)
    ends = day_words(row.ends_at, row.inspection.reel.site) if row.ends_at else ""
    reasons = (
        (is_fast(row.signed_at, row.other_at), "Fast pair: both signed within half a minute."),
        (pair in pairs, "Always the same two: these two sign nearly everything together."),
        (is_near_end(row.signed_at, row.ends_at), f"Signed near the end of the authorisation: {ends}."),
        (row.refused > 0, f"{counted(row.refused, 'read-back')} of its setup values refused."),
        (row.void_why is not None, f"Voided, or asked to be: {row.void_why}"),
        (row.outlier_why is not None, f"Surprising, and accepted: {row.outlier_why}"),
    )  # fmt: skip
    return [words for holds, words in reasons if holds]


def _as_written(rows: QuerySet[Any], pairs: Pairs) -> Iterator[list[object]]:
    for row in in_pages(rows, ORDER, ROWS_AT_ONCE):
        reel = row.inspection.reel
        yield [
            row.inspection_id, reel.serial, reel.site.code, row.meaning, row.full_name, row.person.staff_number,
            moment(row.signed_at), row.record_digest, row.digest, " ".join(_looks(row, pairs)),
        ]  # fmt: skip
