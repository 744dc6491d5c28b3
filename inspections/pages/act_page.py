"""A page for one act: its form, and either the act done and the next page, or the form again as it was typed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.cache import never_cache

from inspections import access
from inspections.domain.words import Act
from inspections.pages.history import told
from reels import access as reel_access
from reels.errors import Malformed, NotAllowed, NotFound, Refused
from reels.models import Reel
from reels.pages.answers import reader, show
from reels.services.history import Actor

FORBIDDEN, UNPROCESSABLE = 403, 422


class ActForm(forms.Form):
    """seen: how long the reel's history was when the form was shown, so that nothing is recorded twice or unawares."""

    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, data: QueryDict | None = None, *, reel: Reel, **options: Any) -> None:
        super().__init__(data, label_suffix="", initial={"seen": reel.chain.length}, **options)

    def shown_again(self, seen: int) -> None:
        """The same typed values, on a history that has grown since."""
        assert isinstance(self.data, QueryDict), "it is shown again because it was sent"
        typed = self.data.copy()
        typed["seen"] = str(seen)
        self.data = typed


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What the act is done to: the reel, and a row of it where the address names one."""

    reel: Reel
    row: Any = None


@method_decorator(never_cache, name="dispatch")
class ActPage(View):
    """One act on one reel. needs: the authorisations of which one is enough; none: the service alone decides."""

    http_method_names = ["get", "head", "post"]
    title: ClassVar[str]
    button: ClassVar[str]
    means: ClassVar[str] = ""
    needs: ClassVar[tuple[Act, ...]] = ()
    form_class: ClassVar[type[ActForm]] = ActForm
    template_name: ClassVar[str] = "inspections/deed.html"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        self.at = timezone.now()
        self.person = reader(request)
        try:
            self.subject = self.find(**kwargs)
            with timezone.override(ZoneInfo(self.subject.reel.site.time_zone)):
                return super().dispatch(request, *args, **kwargs)
        except NotFound as refused:
            raise Http404(str(refused)) from refused

    def get(self, request: HttpRequest, **path: Any) -> HttpResponse:
        try:
            self.require_allowed()
        except NotAllowed as refused:
            raise PermissionDenied(str(refused)) from refused
        return self.answer(self.form())

    def post(self, request: HttpRequest, **path: Any) -> HttpResponse:
        form = self.form(request.POST)
        if not form.is_valid():
            return self.answer(form, UNPROCESSABLE)
        try:
            said = self.act(form.cleaned_data)
        except Refused as refused:
            if isinstance(refused, NotFound):
                raise
            _put(form, refused)
            form.shown_again(self.find(**path).reel.chain.length)
            return self.answer(form, FORBIDDEN if isinstance(refused, NotAllowed) else UNPROCESSABLE)
        messages.success(request, said)
        return redirect(self.done_at())

    def act(self, given: dict[str, Any]) -> str:
        """Do it, all or nothing. What comes back as a refusal was recorded first."""
        with transaction.atomic():
            self.require_unchanged(given.pop("seen"))
            came_to = self.do(given, Actor(self.person))
        if isinstance(came_to, Refused):
            raise came_to
        return came_to

    def require_unchanged(self, seen: int) -> None:
        """Raises ChangedMeanwhile when something was recorded of the reel since the form was shown."""
        reel = reel_access.reel_for_update(self.subject.reel.serial, self.person, self.at)
        if reel.chain.length != seen and (last := reel_access.readable_history(reel).last()):
            entry = told(last)
            raise ChangedMeanwhile(serial=reel.serial, title=entry.title, by=entry.by)

    def require_allowed(self) -> None:
        """Raises NotAuthorised for whoever could not do it now."""
        if self.needs:
            access.any_authorisation_for(self.person, self.needs, self.subject.reel, self.at)

    def form(self, data: QueryDict | None = None) -> ActForm:
        return self.form_class(data, reel=self.subject.reel)

    def answer(self, form: ActForm, status: int = 200) -> HttpResponse:
        about = {"deed": self, "form": form, "reel": self.subject.reel, "row": self.subject.row, "back": self.done_at()}
        answer = show(self.request, self.template_name, {**about, **self.shown()}, self.subject.reel.site)
        answer.status_code = status
        return answer

    # What the particular act says ---------------------------------------------------------------------------------

    def find(self, serial: str) -> Subject:
        return Subject(reel=reel_access.reel_for_read(serial, self.person, self.at))

    def do(self, given: dict[str, Any], actor: Actor) -> str | Refused:
        raise NotImplementedError

    def done_at(self) -> str:
        return reverse("reel", args=[self.subject.reel.serial])

    def shown(self) -> dict[str, Any]:
        return {}


class ChangedMeanwhile(Refused):
    """Of pages alone, where somebody looks and presses again; programs send If-Match."""

    code = "changed_meanwhile"
    says = (
        "Since this form was opened, something was recorded for reel {serial}: {title} ({by}). Nothing of yours was "
        "stored. If it still holds, send it again."
    )


def _put(form: ActForm, refused: Refused) -> None:
    """Say what was refused, beside the field that it is about if there is one."""
    named = refused.fields or ((refused.facts["field"],) if isinstance(refused, Malformed) and "field" in refused.facts
                               else ())  # fmt: skip
    field = next((name for name in named if name in form.fields), None)
    form.add_error(field, str(refused))


def moment_field(label: str, **options: Any) -> forms.DateTimeField:
    """A time on the site's clocks."""
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    return forms.DateTimeField(
        label=label, widget=widget, input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"], **options
    )


def words_field(label: str, *, required: bool = True, **options: Any) -> forms.CharField:
    """A few sentences."""
    widget = forms.Textarea(attrs={"rows": 3})
    return forms.CharField(label=label, required=required, max_length=1000, widget=widget, **options)


def now_at_site(at: datetime) -> datetime:
    """The moment, as a form offers it."""
    return timezone.localtime(at).replace(second=0, microsecond=0)
