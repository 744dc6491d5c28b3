"""The worksheet: one step a screen, for the technician, and for the verifier who witnesses each hold point."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.core import signing
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString

from inspections import access
from inspections.domain.words import InspectionState, Point, Role
from inspections.errors import NotAuthorised
from inspections.models import Inspection
from inspections.pages.forms import StepForm, WorksheetForm, step_initial
from inspections.pages.step_figures import step_figures
from inspections.pages.words import LABELS
from inspections.queries.parameters import parameters_of
from inspections.queries.worksheet import WorksheetState, draft_of, worksheet_state
from inspections.services import drafts
from inspections.services.evaluation import ACT_OF
from reels.pages.acts import NOT_TAKEN, carry_out, new_token
from reels.pages.answers import form_page, page, reader, show
from reels.services.history import Actor

TITLES = {1: "Layers", 2: "Hand count", 3: "Wrap gauge", 4: "Crossover"}
LAST = max(TITLES)
PAGE_OF = {Role.TECHNICIAN: "worksheet-technician", Role.VERIFIER: "worksheet-verifier"}
TYPED = "typed"  # in the session of a login that has run out: what was sent with it
STEP, BY = "step", "by"  # fields of every step's form


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What the page of a step shows."""

    inspection: Inspection
    role: Role
    standing: WorksheetState
    title: str
    last: int
    step: str
    by: str
    token: str
    figures: list[SafeString]
    differing: list[str]
    address: str
    form: WorksheetForm


def _keeps_what_was_sent(
    view: Callable[[HttpRequest, int], HttpResponse],
) -> Callable[[HttpRequest, int], HttpResponse]:
    """A step that is sent after the login ran out: log in again, and what was typed is there.

    It waits in the session, and is only given to the login that the form was made for.
    """

    @login_not_required
    @wraps(view)
    def answer(request: HttpRequest, inspection_id: int) -> HttpResponse:
        if request.user.is_authenticated:
            return view(request, inspection_id)
        if request.method == "POST" and (by := _signed_for(request.POST.get(BY, ""))):
            typed = {
                name: str(value) for name, value in request.POST.items() if name not in ("csrfmiddlewaretoken", BY)
            }
            request.session[TYPED] = {BY: by, "inspection": inspection_id, **_limited(typed)}
        return redirect_to_login(request.path)

    return answer


def _signed_for(by: str) -> int | None:
    try:
        return int(signing.loads(by, salt=TYPED))
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _limited(typed: dict[str, str]) -> dict[str, Any]:
    step = typed.pop(STEP, "")
    some = list(typed.items())[: drafts.MOST_FIELDS]
    return {STEP: step[:40], "values": {name[:40]: value[: drafts.MOST_CHARACTERS] for name, value in some}}


@_keeps_what_was_sent
@form_page
def technician(request: HttpRequest, inspection_id: int) -> HttpResponse:
    return _step(request, inspection_id, Role.TECHNICIAN)


@_keeps_what_was_sent
@form_page
def verifier(request: HttpRequest, inspection_id: int) -> HttpResponse:
    return _step(request, inspection_id, Role.VERIFIER)


@form_page
def keep(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """Keep what is being typed; the script sends it now and then."""
    inspection = access.inspection_for_read(inspection_id, reader(request), timezone.now())
    _keep_draft(request, inspection.pk, request.POST.get(STEP, ""), request.POST.dict())
    return HttpResponse(status=204)


@page
def stamp(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """A word that is another one once anything was recorded for the reel. The script asks for it while it waits."""
    inspection = access.inspection_for_read(inspection_id, reader(request), timezone.now())
    return JsonResponse({"stamp": inspection.reel.chain.head})


@form_page
def drawing(request: HttpRequest, inspection_id: int, role: str) -> HttpResponse:
    """The drawings of a step with what is being typed, before it is sent."""
    inspection = access.inspection_for_read(inspection_id, reader(request), timezone.now())
    if inspection.state != InspectionState.OPEN or role not in set(Role):
        return HttpResponse(status=204)
    standing = worksheet_state(inspection, Role(role), reader(request))
    form = StepForm(request.POST, points=standing.own_points)
    form.is_valid()
    typed = {name: value for name, value in form.cleaned_data.items() if value not in (None, "")}
    return HttpResponse("".join(_figures(inspection, standing, typed)), content_type="text/html; charset=utf-8")


def _step(request: HttpRequest, inspection_id: int, role: Role) -> HttpResponse:
    person, at = reader(request), timezone.now()
    inspection = access.inspection_for_read(inspection_id, person, at)
    if inspection.state != InspectionState.OPEN:
        return redirect(_after(inspection, role))
    if refusal := _may_not_key(inspection, role, request):
        about = {"inspection": inspection, "reel": inspection.reel, "refusal": refusal, "role": role}
        answer = show(request, "inspections/count/worksheet_refused.html", about, inspection.reel.site)
        answer.status_code = 403
        return answer
    _take_what_was_sent(request, inspection)
    sheet = _sheet(request, inspection, role)
    if request.method == "POST":
        if sheet.form.is_valid() and (done := _key(request, sheet)):
            return done
        _keep_draft(request, inspection_id, sheet.step, sheet.form.typed())
        inspection = access.inspection_for_read(inspection_id, person, at)
    if inspection.state != InspectionState.OPEN or sheet.standing.has_ended:
        return redirect(_after(access.inspection_for_read(inspection_id, person, at), role))
    about = {
        "sheet": sheet,
        "form": sheet.form,
        "inspection": inspection,
        "reel": inspection.reel,
        "token": sheet.token,
    }
    answer = show(request, "inspections/count/worksheet.html", about, inspection.reel.site)
    answer.status_code = NOT_TAKEN if sheet.form.errors else 200
    return answer


def _key(request: HttpRequest, sheet: Sheet) -> HttpResponse | None:
    form, number = sheet.form, request.POST.get("reading", "")

    def act(actor: Actor) -> str:
        drafts.key_step(
            inspection_id=sheet.inspection.pk, reading=int(number) if number.isdecimal() else 0, role=sheet.role,
            by_point=form.given(), photos=form.photos(), step=sheet.step, actor=actor, at=timezone.now(),
        )  # fmt: skip
        return sheet.address

    return carry_out(request, form, act)


def _sheet(request: HttpRequest, inspection: Inspection, role: Role) -> Sheet:
    person = reader(request)
    standing = worksheet_state(inspection, role, person)
    step = f"{role}, reading {standing.reading}, step {standing.step}"
    typed = draft_of(inspection, step, person)
    points = standing.own_points
    if request.method == "POST":  # what was sent twice is answered before it is looked at
        points = tuple(point for point in Point if _is_sent(request, point)) or points
    initial = step_initial(typed, points)
    form = WorksheetForm(request.POST or None, request.FILES or None, points=points, initial=initial)
    return Sheet(
        inspection=inspection, role=role, standing=standing, title=TITLES[standing.step], last=LAST, step=step,
        by=signing.dumps(person.pk, salt=TYPED), token=new_token(),
        figures=_figures(inspection, standing, {}),
        differing=[LABELS[point].lower() for point in standing.differing],
        address=reverse(PAGE_OF[role], args=[inspection.pk]), form=form,
    )  # fmt: skip


def _is_sent(request: HttpRequest, point: Point) -> bool:
    return point.value in request.POST.getlist("points")


def _figures(inspection: Inspection, standing: WorksheetState, typed: dict[str, Any]) -> list[SafeString]:
    reference_side = inspection.reel.type.reference_side
    return step_figures(
        parameters_of(inspection), reference_side, standing.step, {**standing.seen, **typed}
    )  # fmt: skip


def _may_not_key(inspection: Inspection, role: Role, request: HttpRequest) -> str:
    """Why this person has no step to key here, or nothing."""
    person = reader(request)
    part = inspection.participants.filter(person=person).values_list("role", flat=True).first()
    if part and part != role:
        return f"You take part in this inspection as {part}; nobody has both roles in one inspection."
    try:
        access.authorisation_for(person, ACT_OF[role], inspection.reel, timezone.now())
    except NotAuthorised as refused:
        return str(refused)
    return ""


def _after(inspection: Inspection, role: Role) -> str:
    """Where a count goes on: with another reading, or where nothing is keyed any more."""
    name = {
        InspectionState.OPEN: PAGE_OF[role],
        InspectionState.REFERRED: "referral",
        InspectionState.AWAITING_SIGN_OFF: "result",
    }.get(InspectionState(inspection.state), "inspection")
    return reverse(name, args=[inspection.pk])


# Drafts -------------------------------------------------------------------------------------------------------------


def _keep_draft(request: HttpRequest, inspection_id: int, step: str, typed: dict[str, str]) -> None:
    fields = {name for point in Point for name in StepForm(points=[point]).fields}
    values = {name: value for name, value in typed.items() if name in fields and value}
    if values:
        drafts.keep_draft(
            inspection_id=inspection_id, step=step, values=values, person=reader(request), at=timezone.now()
        )


def _take_what_was_sent(request: HttpRequest, inspection: Inspection) -> None:
    """What came with a login that had run out becomes a draft of the same person's; another login never sees it."""
    sent = request.session.pop(TYPED, None)
    if sent and sent[BY] == reader(request).pk and sent["inspection"] == inspection.pk:
        _keep_draft(request, inspection.pk, sent[STEP], sent["values"])
