"""The worksheet: one step a screen, for the technician, and for the verifier who witnesses each hold point."""

from typing import Any, ClassVar

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.core import signing
from django.http import HttpRequest, HttpResponse, QueryDict
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.safestring import SafeString

from inspections import access
from inspections.domain import keying
from inspections.domain.third_reading import AgreesWith
from inspections.domain.words import InspectionState, Point, Role
from inspections.errors import NotAuthorised
from inspections.models import Inspection, ThirdReading
from inspections.pages.count.deciding import InspectionActView
from inspections.pages.count.forms import StepForm, WorksheetForm, typed_at
from inspections.pages.count.step_figures import how_to_figures, of_type, step_figures, tapped_halves
from inspections.pages.words import LABELS
from inspections.queries.findings import is_stopped, parts_without_finding
from inspections.queries.parameters import changed_rules
from inspections.queries.worksheet import WorksheetState, draft_of, worksheet_state
from inspections.services import drafts, evaluation
from inspections.services.evaluation import ACT_OF
from reels.pages.acts import FORBIDDEN
from reels.pages.answers import form_page, reader, show
from reels.pages.figures import code_picture

TITLES = {1: "Data plate", 2: "Open side", 3: "Layers", 4: "Hand count", 5: "Wrap gauge", 6: "Crossover"}
LAST = max(TITLES)
PAGE_OF = {Role.TECHNICIAN: "worksheet-technician", Role.VERIFIER: "worksheet-verifier"}
TYPED = "typed"  # in the session of a login that has run out: what was sent with it
STEP, BY = "step", "by"  # fields of every step's form


def _signed_for(by: str) -> int | None:
    try:
        return int(signing.loads(by, salt=TYPED))
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _limited(typed: dict[str, str]) -> dict[str, Any]:
    step = typed.pop(STEP, "")
    some = list(typed.items())[: drafts.MOST_FIELDS]
    return {STEP: step[:40], "values": {name[:40]: value[: drafts.MOST_CHARACTERS] for name, value in some}}


class StepView(InspectionActView):
    """A step of the count, for one of the two."""

    states = (InspectionState.OPEN,)
    template_name = "inspections/count/worksheet.html"
    role: ClassVar[Role]
    standing: WorksheetState
    sent_form: WorksheetForm | None

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """A step that is sent after the login ran out: log in again, and what was typed is there.

        It waits in the session, and is only given to the login that the form was made for.
        """
        if request.user.is_authenticated:
            return super().dispatch(request, *args, **kwargs)
        if request.method == "POST" and (by := _signed_for(request.POST.get(BY, ""))):
            typed = {
                name: str(value) for name, value in request.POST.items() if name not in ("csrfmiddlewaretoken", BY)
            }
            request.session[TYPED] = {BY: by, "inspection": kwargs["inspection_id"], **_limited(typed)}
        return redirect_to_login(request.path)

    def find(self, **path: Any) -> None:
        super().find(**path)
        self.standing = worksheet_state(self.row, self.role, self.person)

    def get(self, request: HttpRequest, **path: Any) -> HttpResponse:
        if refusal := self.may_not_key():
            return self.not_theirs(refusal)
        _take_what_was_sent(request, self.row)
        return super().get(request, **path)

    def post(self, request: HttpRequest, **path: Any) -> HttpResponse:
        if refusal := self.may_not_key():
            return self.not_theirs(refusal)
        return super().post(request, **path)

    def may_not_key(self) -> str:
        """Why this person has no step to key here, or nothing."""
        if self.row.state != InspectionState.OPEN:
            return ""
        part = self.row.participants.filter(person=self.person).values_list("role", flat=True).first()
        if part and part != self.role:
            return f"You take part in this inspection as {part}; nobody has two roles in one inspection."
        try:
            access.authorisation_for(self.person, ACT_OF[self.role], self.reel, self.at)
        except NotAuthorised as refused:
            return str(refused)
        return ""

    def not_theirs(self, refusal: str) -> HttpResponse:
        about = {"inspection": self.row, "reel": self.reel, "refusal": refusal, "role": self.role}
        return show(self.request, "inspections/count/worksheet_refused.html", about, self.site, FORBIDDEN)

    def elsewhere(self) -> str:
        if is_stopped(self.reel):
            return reverse("inspection", args=[self.row.pk])
        if (parts := parts_without_finding(self.row)) and self.role is Role.TECHNICIAN:
            return f"{reverse('count-finding', args=[self.row.pk])}?part={parts[0]}"
        if self.standing.needs_gauge and self.role is Role.TECHNICIAN:
            return reverse("count-gauge", args=[self.row.pk])
        is_over = self.row.state != InspectionState.OPEN or self.standing.has_ended
        return _after(access.inspection_for_read(self.row.pk, self.person, self.at), self.role) if is_over else ""

    @property
    def other(self) -> Role:
        return Role.VERIFIER if self.role is Role.TECHNICIAN else Role.TECHNICIAN

    @property
    def step(self) -> str:
        """Each attempt at it has another draft, so that one which comes late fills in nothing that is keyed again."""
        return f"{self.role}, reading {self.seen()}, step {self.standing.step}"

    def form(self, data: QueryDict | None = None, files: Any = None) -> WorksheetForm:
        points = self.standing.own_points
        if data is not None:  # those that were sent, which may have been keyed since
            points = tuple(point for point in Point if point.value in data.getlist("points")) or points
        initial = typed_at(points, draft_of(self.row, self.step, self.person))
        return WorksheetForm(data, files or None, points=points, initial=initial, **of_type(self.row))

    def seen(self) -> str:
        """The reading, and how often the role has keyed in it; the other of the two may key on meanwhile."""
        return f"{self.standing.reading}.{self.standing.keyed}"

    def lock(self) -> None:
        super().lock()
        self.standing = worksheet_state(self.row, self.role, self.person)

    def do(self, data: dict[str, Any]) -> None:
        assert self.sent_form, "it was sent"
        drafts.key_step(
            inspection_id=self.row.pk, reading=self.standing.reading, role=self.role, step=self.step,
            by_point=self.sent_form.by_point(), photos=self.sent_form.photos(), actor=self.actor, at=self.at,
        )  # fmt: skip

    def answer(self, form: Any, status: int = 200) -> HttpResponse:
        if self.sent_form:
            _keep_draft(self.request, self.row.pk, self.step, self.sent_form.typed())
        return super().answer(form, status)

    def context(self) -> dict[str, Any]:
        return {
            **super().context(), "standing": self.standing, "title": TITLES[self.standing.step], "last": LAST,
            "by": signing.dumps(self.person.pk, salt=TYPED), "figures": _figures(self.row, self.standing, {}),
            "how_to": how_to_figures(
                [point for point in keying.STEPS[self.standing.step - 1] if self.role in keying.roles_at(point)],
                **of_type(self.row),
            ),
            "meeting": _meeting_code(self.request, self.row, self.role),
            "halves": tapped_halves(of_type(self.row)["drum"]) if self.standing.step == LAST else None,
            "changed_rules": changed_rules(self.row),
            "differing": [LABELS[point].lower() for point in self.standing.differing],
            "third_readings": [_third(each) for each in self.standing.third_readings],
            "may_ask": [{"point": point, "spoken": evaluation.spoken(point)} for point in self.standing.may_ask],
        }  # fmt: skip

    def done_at(self) -> str:
        return reverse(PAGE_OF[self.role], args=[self.row.pk])


@method_decorator(login_not_required, name="dispatch")
class TechnicianView(StepView):
    role = Role.TECHNICIAN


@method_decorator(login_not_required, name="dispatch")
class VerifierView(StepView):
    role = Role.VERIFIER


@form_page
def keep(request: HttpRequest, inspection_id: int) -> HttpResponse:
    """Keep what is being typed; the script sends it now and then."""
    inspection = access.inspection_for_read(inspection_id, reader(request), timezone.now())
    _keep_draft(request, inspection.pk, request.POST.get(STEP, ""), request.POST.dict())
    return HttpResponse(status=204)


@form_page
def drawing(request: HttpRequest, inspection_id: int, role: str) -> HttpResponse:
    """The drawings of a step with what is being typed, before it is sent."""
    inspection = access.inspection_for_read(inspection_id, reader(request), timezone.now())
    if inspection.state != InspectionState.OPEN or role not in set(Role):
        return HttpResponse(status=204)
    standing = worksheet_state(inspection, Role(role), reader(request))
    form = StepForm(request.POST, points=standing.own_points, **of_type(inspection))
    form.is_valid()
    typed = {name: value for name, value in form.cleaned_data.items() if value not in (None, "")}
    return HttpResponse("".join(_figures(inspection, standing, typed)), content_type="text/html; charset=utf-8")


def _figures(inspection: Inspection, standing: WorksheetState, typed: dict[str, Any]) -> list[SafeString]:
    return step_figures(keying.STEPS[standing.step - 1], {**standing.seen, **typed}, **of_type(inspection))


def _meeting_code(request: HttpRequest, inspection: Inspection, role: Role) -> SafeString | None:
    """For the camera of the verifier's phone, until they take part: it leads to the witness page of this count."""
    if role is Role.VERIFIER or inspection.participants.filter(role=Role.VERIFIER).exists():
        return None
    address = request.build_absolute_uri(reverse(PAGE_OF[Role.VERIFIER], args=[inspection.pk]))
    return code_picture(address, "A code that leads to the witness page of this count")


def _third(row: ThirdReading) -> dict[str, Any]:
    whose = AgreesWith(row.agrees_with).spoken if row.agrees_with else ""
    return {"row": row, "spoken": evaluation.spoken(Point(row.point)), "whose": whose}


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
    values = {name: value for name, value in typed_at(Point, typed).items() if value}
    if values:
        drafts.keep_draft(
            inspection_id=inspection_id, step=step, values=values, person=reader(request), at=timezone.now()
        )


def _take_what_was_sent(request: HttpRequest, inspection: Inspection) -> None:
    """What came with a login that had run out becomes a draft of the same person's; another login never sees it."""
    sent = request.session.pop(TYPED, None)
    if sent and sent[BY] == reader(request).pk and sent["inspection"] == inspection.pk:
        _keep_draft(request, inspection.pk, sent[STEP], sent["values"])
