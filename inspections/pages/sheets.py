"""A spreadsheet's file brought in: how it is understood, changed where that is wrong, looked at, and then stored.

The file is kept between the steps, with how it is understood, so that no step sends it again.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from uuid import UUID
from zoneinfo import available_timezones

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from inspections.domain.intake.understanding import (
    DAY_ORDERS,
    MARKS,
    SEPARATORS,
    NotRead,
    Understanding,
    completed,
    examples,
    headings,
    questions,
    understand,
)
from inspections.services.intake import mappings, sheets
from inspections.services.intake.sheets import ASKED, SheetCheck
from reels import access
from reels.domain import ledger
from reels.errors import NotFound
from reels.models import TaskRun, Upload
from reels.pages.acts import ActForm, ActView
from reels.pages.answers import form_page, page, reader, show
from reels.pages.plain import PlainForm
from reels.pages.tasks import HaveDoneView
from reels.services.history import Actor
from reels.services.tasks import require_not_failed

KINDS = {
    "reel_types.csv": "reel types", "reels.csv": "reels", "counts.csv": "counts",
    "cable_events.csv": "cuts and other cables", "events.csv": "uses and other events",
    "installations.csv": "installations in machines", "moves.csv": "moves between sites",
}  # fmt: skip
ZONES = [("", "no zone: times say their own"), *((name, name) for name in sorted(available_timezones()))]
COLUMN = "column_"
CHOSEN = ("decimal_mark", "day_order", "time_zone", "time_of_day", "spellings", "as_spelt")


class SheetForm(PlainForm):
    """How a file is read; a heading is chosen by its place."""

    file = forms.ChoiceField(label="What it holds", choices=[("", "choose"), *KINDS.items()], required=False)
    separator = forms.ChoiceField(label="Separator", choices=list(SEPARATORS.items()))
    decimal_mark = forms.ChoiceField(label="Decimal mark", choices=[("", "not known"), *MARKS.items()], required=False)
    day_order = forms.ChoiceField(
        label="Dates such as 03/04/2026", choices=[("", "not known"), *DAY_ORDERS.items()], required=False,
        help_text="It is told by a day above 12, and never guessed.",
    )  # fmt: skip
    time_zone = forms.ChoiceField(label="Clocks of the times", choices=ZONES, required=False)
    time_of_day = forms.RegexField(
        r"^\d{1,2}:\d\d\Z", label="Time of day, where there is only a day", required=False,
        help_text="As 12:00. Empty: such a row is refused.",
        error_messages={"invalid": "You entered “%(value)s”; a time of day is needed, such as 12:00."},
    )  # fmt: skip
    spellings = forms.CharField(
        label="Other spellings", required=False, max_length=20_000, strip=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Of serials, codes, sites and set words: one a line, the file's and then ours, as Drum 7 = LW-0007.",
    )  # fmt: skip
    as_spelt = forms.BooleanField(label="Take serials as they are spelt", required=False)

    def __init__(self, data: Any = None, *, text: str, understood: Understanding) -> None:
        names = headings(text, understood.separator)
        initial: dict[str, Any] = {name: getattr(understood, name) for name in (*CHOSEN, "file", "separator")}
        initial["spellings"] = "\n".join(f"{seen} = {meant}" for seen, meant in understood.spellings.items())
        super().__init__(data, initial=initial, auto_id="sheet_%s")
        shown = examples(text, understood.separator)
        offered = [("", "none"), *((str(i), f"{name} (as {shown[name]})" if shown[name] else name)
                                   for i, name in enumerate(names) if name)]  # fmt: skip
        for column in understood.form.columns if understood.form else ():
            is_needed = column.is_required and not column.may_be_empty
            place = names.index(understood.columns[column.name]) if column.name in understood.columns else ""
            self.fields[COLUMN + column.name] = forms.ChoiceField(
                label=column.name + " (needed)" * is_needed, choices=offered, required=False, initial=str(place)
            )

    def clean_spellings(self) -> dict[str, str]:
        """What is meant by each spelling."""
        by_spelling: dict[str, str] = {}
        for number, line in enumerate(self.cleaned_data["spellings"].splitlines(), start=1):
            seen, _, meant = (part.strip() for part in line.rpartition("="))
            if line.strip() and not (seen and meant):
                raise forms.ValidationError(f"Line {number} was “{line.strip()}”; needed: Drum 7 = LW-0007.")
            by_spelling |= {seen: meant} if meant else {}
        return by_spelling

    def understood(self, before: Understanding, text: str) -> Understanding:
        """As it was chosen. before: what the form was made of."""
        data = self.cleaned_data
        names = headings(text, before.separator)
        columns = {name.removeprefix(COLUMN): names[int(place)] for name, place in data.items()
                   if name.startswith(COLUMN) and place}  # fmt: skip
        return completed(text, replace(before, columns=columns, **{name: data[name] for name in CHOSEN}))


@form_page
def sheet(request: HttpRequest) -> HttpResponse:
    """The file that is chosen; it is kept, and looked at on a page of its own."""
    access.only_administrators(reader(request))
    problem = ""
    if request.method == "POST":
        try:
            return _begun(request)
        except NotRead as refused:
            problem = str(refused)
    return show(request, "inspections/sheet.html", {"problem": problem, "section": "people"},
                status=422 if problem else 200)  # fmt: skip


def _begun(request: HttpRequest) -> HttpResponse:
    """Raises NotRead."""
    chosen = request.FILES.get("sheet")
    content = chosen.read() if chosen else b""
    if not content:
        raise NotRead("No file is chosen, or it is empty.")
    upload = sheets.begin(content, (chosen and chosen.name) or "", person=reader(request), at=timezone.now())
    sheets.have_checked(upload)
    return HttpResponseRedirect(reverse("sheet-look", args=[upload.pk]), status=303)


@form_page
def sheet_look(request: HttpRequest, pk: UUID) -> HttpResponse:
    """How a file is understood, which can be said otherwise, and what would come of it; stores none of its rows."""
    upload = sheets.of(pk, reader(request))
    text, understood = sheets.text_in(upload), sheets.understanding_of(upload)
    if request.method != "POST":
        form = SheetForm(text=text, understood=understood)
        return _looked_at(request, upload, form, _outcome(upload, text, understood, request))
    if chosen := request.POST.get("mapping", ""):
        return _read_by(upload, int(chosen) if chosen.isdecimal() else 0, request)
    form = SheetForm(request.POST, text=text, understood=understood)
    if not form.is_valid():
        return _looked_at(request, upload, form, {"asked": ["what is marked below"]}, status=422)
    kind, separator = form.cleaned_data["file"], form.cleaned_data["separator"]
    is_another = (kind, separator) != (understood.file, understood.separator)  # which is understood anew
    meant = understand(text, kind, separator) if is_another else form.understood(understood, text)
    return _said(upload, meant)


def _said(upload: Upload, understood: Understanding, mapping: int | None = None) -> HttpResponse:
    sheets.say(upload, understood, timezone.now(), mapping)
    sheets.have_checked(upload)
    return HttpResponseRedirect(reverse("sheet-look", args=[upload.pk]), status=303)


def _read_by(upload: Upload, mapping_id: int, request: HttpRequest) -> HttpResponse:
    """As a mapping has it, whose headings are all in the file. Raises NotFound."""
    fitting = mappings.fitting(sheets.text_in(upload), reader(request))
    mapping = next((each for each in fitting if each.pk == mapping_id), None)
    if mapping is None:
        raise NotFound(what="mapping that fits the file", key=mapping_id)
    return _said(upload, mappings.understanding_of(mapping), mapping.pk)


def _looked_at(request: HttpRequest, upload: Upload, form: SheetForm, outcome: Mapping[str, Any],
               status: int = 200) -> HttpResponse:  # fmt: skip
    used = sheets.mapping_of(upload)
    fitting = mappings.fitting(sheets.text_in(upload), reader(request))
    about = {"upload": upload, "form": form, "section": "people", "store": ActForm(), "seen": digest_of(upload),
             "fitting": [each for each in fitting if each.pk != used],
             "used": next((each for each in fitting if each.pk == used), None)}  # fmt: skip
    return show(request, "inspections/sheet.html", {**about, **outcome}, status=status)


def _outcome(upload: Upload, text: str, understood: Understanding, request: HttpRequest) -> dict[str, Any]:
    """What is still asked; else what would be stored, and what is wrong, by reason; or how far the worker is."""
    if asked := questions(text, understood):
        return {"asked": [ASKED[each] for each in asked]}
    outcome: dict[str, Any] = {"spelt": list(sheets.respelt(text, understood).items())}
    made = _check(upload, text, understood, request)
    if isinstance(made, SheetCheck):
        return {**outcome, "check": made, "first": made.problems[:10]}
    return {**outcome, "is_large": True, "run": made}


def _check(upload: Upload, text: str, understood: Understanding, request: HttpRequest) -> SheetCheck | TaskRun | None:
    """A small file's, made here; a large one's, or the task that makes it. Raises TaskFailed."""
    if not sheets.is_large(upload):
        return sheets.check(text, understood, actor=Actor(reader(request)), at=timezone.now())
    run = sheets.newest_check(upload)
    require_not_failed(run)
    return sheets.made_of(run) if run and run.state == "done" else run


@page
def refused_rows(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The rows of a file that are refused, each with why, to mend and bring in again."""
    upload = sheets.of(pk, reader(request))
    text, understood = sheets.text_in(upload), sheets.understanding_of(upload)
    made = None if questions(text, understood) else _check(upload, text, understood, request)
    if not isinstance(made, SheetCheck) or not made.wrong:
        return HttpResponseRedirect(reverse("sheet-look", args=[pk]))
    answer = HttpResponse(sheets.refused_file(text, understood, made), content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="refused {understood.file}"'
    return answer


def digest_of(upload: Upload) -> str:
    """Of how it is understood: what the forms on its page rest on."""
    return ledger.digest(ledger.canonical(upload.about))


class SheetActView(ActView):
    """An act on a file that is looked at."""

    template_name = "reels/form.html"
    subject: Upload

    def find(self, pk: UUID) -> None:  # type: ignore[override]  # the address names the file
        self.subject = sheets.of(pk, self.person)

    def seen(self) -> str:
        return digest_of(self.subject)

    def context(self) -> dict[str, Any]:
        return {"section": "people"}


class SheetStoreView(SheetActView, HaveDoneView):
    """Store what was looked at: all of it, or nothing."""

    before = "sheet"
    title, button = "Store these rows", "Store them"
    says = "Either everything is stored or nothing. The same rows stored again change nothing."

    def elsewhere(self) -> str:
        return reverse("sheet-look", args=[self.subject.pk])

    def done_at(self) -> str:
        return super().done_at() if self.run else self.elsewhere()

    def put(self, data: dict[str, Any]) -> TaskRun:
        return sheets.have_stored(self.subject, actor=self.actor)
