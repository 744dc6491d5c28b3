"""Acts on pages: a form that is posted and redirects, and is carried out once however often it is sent.

Every form carries two things that nobody types. `token` is a number of its own: the same form sent again (a double
tap, the back button, a connection that broke off) gets the first answer. `seen` is what the form was shown on: sent
from a window in which that no longer holds, it is refused, and what was typed is kept.

The token comes first, since a form that was taken has changed the record that its repeat would be compared with.
"""

import json
import uuid
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from functools import cached_property
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.cache import never_cache

from reels import access
from reels.domain import ledger
from reels.errors import (
    AskedFirst,
    KeyReused,
    Malformed,
    NotAllowed,
    NotFound,
    OutOfTime,
    Refused,
    TooManyTries,
    ValueNotTaken,
    WrongPassword,
)
from reels.models import Person, Site
from reels.pages.answers import reader, show
from reels.pages.formats import moment_at
from reels.pages.plain import PlainForm
from reels.services import register, submissions
from reels.services.history import Actor

FOUND, SEE_OTHER, FORBIDDEN, UNPROCESSABLE, TOO_MANY = 302, 303, 403, 422, 429
DONE = (FOUND, SEE_OTHER)
TOKEN, SEEN = "token", "seen"
CAME_FROM, FIRST_PAGE = "from", "home"
JSON = "application/json"
Offered = tuple[str, Iterable[tuple[str, str]]]


class ChangedMeanwhile(Refused):
    """Of pages alone, where somebody looks and presses again; programs send If-Match."""

    message = (
        "This was not stored. Since the form was opened, what it is about was changed. What you typed is still here; "
        "if it still holds, send it."
    )


class SentBefore(Refused):
    """The token of a form that was answered, with other values: the form was gone back to, and altered."""

    message = (
        "This was not stored: the same form was sent before with other values, and answered at {at}. What you typed is "
        "still here; if you mean to record it as well, send it."
    )


class TokenMissing(Refused):
    """Such as a page from before an upgrade; without a token, a repeat could not be told from a second act."""

    message = "This was not stored: the form is an old one. What you typed is still here in a new one; send it."


class AnswersField(forms.MultipleChoiceField):
    """What was asked about an act, each to be ticked; nothing is seen of it until something is asked."""

    widget = forms.CheckboxSelectMultiple

    def __init__(self, **options: Any) -> None:
        super().__init__(**{**options, "required": False})

    def valid_value(self, value: Any) -> bool:
        return value in AskedFirst.BY_CODE

    def add(self, code: str) -> None:
        """Have a question among those that can be answered."""
        known: Any = self.choices
        self.choices = list(dict.fromkeys([*known, (code, AskedFirst.BY_CODE[code].yes)]))


class ActForm(PlainForm):
    """The form of an act. Made again it has another token, so that what is corrected is no repeat.

    offered: of fields whose choices depend on who looks, the words for none of them, and the choices.
    """

    def __init__(self, *args: Any, offered: Mapping[str, Offered] | None = None, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, (empty, choices) in (offered or {}).items():
            self.offer(name, empty, choices)
        for code in self["answers"].data or () if "answers" in self.fields else ():
            if code in AskedFirst.BY_CODE:
                self.ask(code)

    def __iter__(self) -> Iterator[forms.BoundField]:
        """The fields that are to be seen."""
        return (each for each in super().__iter__() if not isinstance(each.field, AnswersField) or each.field.choices)

    def ask(self, code: str) -> None:
        """Have the form show a question that was asked about what it sent."""
        field = self.fields["answers"]
        assert isinstance(field, AnswersField), "a form of an act that may be asked about declares its answers"
        field.add(code)

    @cached_property
    def token(self) -> str:
        return str(uuid.uuid4())

    def offer(self, name: str, empty: str, choices: Iterable[tuple[str, str]]) -> None:
        """What there is to choose from in a field; empty: the words for none of it, "" where that is no choice."""
        field: Any = self.fields[name]
        field.choices = [*([("", empty)] if empty else []), *choices]


@method_decorator(never_cache, name="dispatch")
class ActView(View):
    """A page with the form of an act: the act done and the next page, or the form again as it was typed.

    acts: where a page has several, their names, of which its forms send one as `act`. find: sets what the act is about,
    and may raise NotFound or NotAllowed. site: whose clocks times are read and written by. elsewhere: the page to look
    at instead, when there is nothing to do here. seen: what the form rests on, as text. prepare: what is done before
    any transaction begins. do: the act, in the transaction of its answer; a refusal that it returns was recorded,
    and is kept as the answer. message: what the next page says of it.
    """

    http_method_names = ["get", "head", "post"]
    form_class: ClassVar[type[ActForm]] = ActForm
    template_name: str
    status_done: ClassVar[int] = FOUND
    status_not_allowed: ClassVar[int] = UNPROCESSABLE
    acts: ClassVar[tuple[str, ...]] = ()
    at: datetime
    person: Person
    site: Site | None = None
    sent_form: Any = None
    message = ""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.at, self.person = timezone.now(), reader(request)
        try:
            if request.method == "POST" and (known := self.first_answer()) and known.status in DONE:
                return self.respond(known, is_repeat=True)
            self.find(**kwargs)
            with timezone.override(ZoneInfo(self.site.time_zone) if self.site else None):
                return super().dispatch(request, *args, **kwargs)
        except NotFound as refused:
            raise Http404(str(refused)) from refused
        except NotAllowed as refused:
            raise PermissionDenied(str(refused)) from refused

    def get(self, request: HttpRequest, **path: Any) -> HttpResponse:
        self.require_allowed()
        address = self.elsewhere()
        return redirect(address) if address else self.answer(self.form())

    def post(self, request: HttpRequest, **path: Any) -> HttpResponse:
        if self.acts and not self.which:
            return self.get(request, **path)
        form = self.sent_form = self.form(request.POST, request.FILES)
        try:
            answer = self._carry_out(form)
        except Refused as refused:
            answer = self._refusal(form, refused)
        if answer and answer.status in DONE:
            return self.respond(answer, is_repeat=False)
        if answer:
            _put(form, **json.loads(answer.body))
        self.find(**path)
        response = self.answer(form, answer.status if answer else UNPROCESSABLE)
        for name, value in (answer.headers if answer else {}).items():
            response.headers[name] = value
        return response

    # What the particular page says --------------------------------------------------------------------------------

    def find(self, **path: Any) -> None:
        pass

    def require_allowed(self) -> None:
        """Raises NotAllowed for whoever could not do it now."""

    def elsewhere(self) -> str:
        return ""

    def form(self, data: QueryDict | None = None, files: MultiValueDict[str, Any] | None = None) -> ActForm:
        return self.form_class(data, files, **self.form_options())

    def form_options(self) -> dict[str, Any]:
        return {}

    def seen(self) -> str:
        return ""

    def require_unchanged(self, seen: str) -> None:
        """Raises ChangedMeanwhile when the form rests on what is no longer so. Locks what it compares."""
        if seen != self.seen():
            raise ChangedMeanwhile()

    def names_in(self, refused: Refused) -> tuple[str, ...]:
        """The values that a refusal is about, by their names."""
        is_about = isinstance(refused, Malformed) and "field" in refused.facts
        return refused.fields or ((refused.facts["field"],) if is_about else ())

    def prepare(self, data: dict[str, Any]) -> None:
        pass

    def do(self, data: dict[str, Any]) -> Refused | None:
        raise NotImplementedError

    def done_at(self) -> str:
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        return {}

    def next_at(self) -> str:
        """Where one goes on: the first page, for who came from a list there and goes on with it."""
        return "/" if self.request.GET.get(CAME_FROM) == FIRST_PAGE else self.done_at()

    # The steps ----------------------------------------------------------------------------------------------------

    @property
    def which(self) -> str:
        act = self.request.POST.get("act", "")
        return act if act in self.acts else ""

    @property
    def actor(self) -> Actor:
        return Actor(self.person)

    def answer(self, form: ActForm, status: int = 200) -> HttpResponse:
        context = {"view": self, "form": form, "seen": self.seen(), "back": self.next_at(), **self.context()}
        return show(self.request, self.template_name, context, self.site, status)

    def respond(self, answer: submissions.SentAnswer, *, is_repeat: bool) -> HttpResponse:
        """The next page; a repeat says what the first answer said, which the browser may never have shown."""
        if answer.body:
            messages.success(self.request, answer.body.decode())
        return HttpResponseRedirect(answer.headers["Location"], status=answer.status)

    def first_answer(self) -> submissions.SentAnswer | None:
        """What this form was answered before, if it was; none for other values, which is said once there is a form."""
        try:
            return submissions.answered(self.submission) if self.submission else None
        except KeyReused:
            return None

    @cached_property
    def submission(self) -> submissions.Request | None:
        """Who sends what under which token; None without a token."""
        token = self.request.POST.get(TOKEN)
        sent: dict[str, Any] = {
            name: values for name, values in self.request.POST.lists() if name != "csrfmiddlewaretoken"
        }
        sent |= {f"file {name}": [_digest(each) for each in files] for name, files in self.request.FILES.lists()}
        fingerprint = submissions.fingerprint("POST", self.request.path, sent)
        return (
            submissions.Request(actor=self.actor, key=f"form {token[:80]}", fingerprint=fingerprint) if token else None
        )

    def _carry_out(self, form: ActForm) -> submissions.SentAnswer | None:
        """The answer, a first or a kept one; None for a form that is not valid."""
        if self.submission is None:
            raise TokenMissing()
        try:
            if known := submissions.answered(self.submission):
                return known
            return self._first(form, self.submission) if form.is_valid() else None
        except KeyReused as refused:
            raise SentBefore(at=_clock(refused.facts["at"])) from refused

    def _first(self, form: ActForm, submission: submissions.Request) -> submissions.SentAnswer:
        refused: Refused | None = None
        try:
            self.prepare(form.cleaned_data)
        except WrongPassword as counted:  # it counts towards the lock, and once
            refused = counted
        with transaction.atomic():
            if known := submissions.begin(submission, waits=True):
                return known
            if refused is None:
                self.require_unchanged(self.request.POST.get(SEEN, ""))
                refused = self.do(form.cleaned_data)
            answer = self._refusal(form, refused) if refused else self._done()
            submissions.keep(submission, answer, self.at)
        return answer

    def _done(self) -> submissions.SentAnswer:
        return submissions.SentAnswer(status=self.status_done, media_type="", body=self.message.encode(),
                                  headers={"Location": self.next_at()})  # fmt: skip

    def _refusal(self, form: ActForm, refused: Refused) -> submissions.SentAnswer:
        field = next((name for name in self.names_in(refused) if name in form.fields), None)
        status = self.status_not_allowed if isinstance(refused, NotAllowed) else UNPROCESSABLE
        headers = {}
        if isinstance(refused, TooManyTries):
            status, headers = TOO_MANY, {"Retry-After": str(refused.facts["retry_after_s"])}
        if isinstance(refused, AskedFirst):
            form.ask(refused.code)
            field = "answers"
        detail = beside(refused) if field else str(refused)
        body = json.dumps({"field": field, "detail": detail}).encode()
        return submissions.SentAnswer(status=status, media_type=JSON, body=body, headers=headers)


class ComparedView(ActView):
    """An act that rests on what the page showed, compared under the register's lock."""

    def looked_at(self) -> Any:
        """What the form rests on, read anew, as JSON has it."""
        raise NotImplementedError

    def seen(self) -> str:
        """A digest of it."""
        return ledger.digest(ledger.canonical(self.looked_at()))

    def require_unchanged(self, seen: str) -> None:
        access.lock_register()
        super().require_unchanged(seen)


class ChangeView(ComparedView):
    """An administrator changes a row of reference data."""

    subject: Any  # the row

    def do(self, data: dict[str, Any]) -> None:
        changed = differing(self.subject, self.values(data))
        if changed:
            register.change(self.subject, actor=self.actor, at=self.at, **changed)
        self.message = f"{'Changed' if changed else 'Nothing was different'}: {self.named}."

    def values(self, data: dict[str, Any]) -> dict[str, Any]:
        """What was typed, as the row has it."""
        return data

    @property
    def named(self) -> str:
        """The row, as it is told that it was changed."""
        return str(self.subject)


def differing(row: Model, typed: Mapping[str, Any]) -> dict[str, Any]:
    """The typed values that are not the row's."""
    return {name: value for name, value in typed.items() if value != getattr(row, name)}


def beside(refused: Refused) -> str:
    """What is said beside a field, which has a name of its own there; times by the clocks of the zone that is set."""
    if isinstance(refused, OutOfTime):
        seen, earliest, latest = (_by_clock(refused.facts[name]) for name in ("seen", "earliest", "latest"))
        return f"This was {seen}; allowed: from {earliest} to {latest}."
    if not isinstance(refused, ValueNotTaken):
        return str(refused)
    seen, allowed = refused.facts["seen"], refused.facts["allowed"]
    return f"Nothing is entered; needed: {allowed}." if seen == "nothing" else f"This was {seen}; allowed: {allowed}."


def _by_clock(moment: Any) -> str:
    """A moment as its text has it; what is none, a day or words, as it stands."""
    text = str(moment)
    return _clock(text) if "T" in text else text


def _put(form: ActForm, *, field: str | None, detail: str) -> None:
    form.add_error(field if field in form.fields else None, detail)


def _digest(file: Any) -> str:
    """Of a file that is read again by its field."""
    digest = ledger.digest(file.read())
    file.seek(0)
    return digest


def _clock(at: str) -> str:
    return moment_at(None, datetime.fromisoformat(at))
