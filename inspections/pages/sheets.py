"""A spreadsheet's file brought in: how it is understood, changed where that is wrong, looked at, and then stored.

Nothing is kept between the steps: the page carries the text of the file, and what it would be as one of our own.
"""

from collections import Counter
from dataclasses import replace
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils import timezone

from inspections.domain.intake.files import FileProblem
from inspections.domain.intake.understanding import (
    DAY_ORDERS,
    MARKS,
    SEPARATORS,
    NotRead,
    Understanding,
    as_ours,
    examples,
    headings,
    questions,
    refused_rows,
    serials_in,
    spellings_of,
    text_of,
    understand,
)
from inspections.errors import ImportRefused
from inspections.services.intake import FILES, task
from reels import access
from reels.models import TaskRun
from reels.pages.acts import ActForm
from reels.pages.answers import form_page, reader, show
from reels.pages.plain import PlainForm
from reels.pages.tasks import HaveDoneView
from reels.services.history import Actor

KINDS = {
    "reel_types.csv": "reel types", "reels.csv": "reels", "counts.csv": "counts",
    "cable_events.csv": "cuts and other cables", "events.csv": "uses and other events",
    "installations.csv": "installations in machines", "moves.csv": "moves between sites",
}  # fmt: skip
ASKED = {
    "file": "what the file holds", "columns": "which heading each needed column has",
    "day_order": "whether the day or the month comes first",
    "time_zone": "by which clocks the times were written down", "decimal_mark": "which mark the decimals have",
}  # fmt: skip
ZONES = [("", "no zone: times say their own"), *((name, name) for name in sorted(available_timezones()))]
COLUMN = "column_"


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
    as_spelt = forms.BooleanField(label="Take serials as they are spelt", required=False)

    def __init__(self, data: Any = None, *, text: str, understood: Understanding) -> None:
        names = headings(text, understood.separator)
        initial: dict[str, Any] = {name: getattr(understood, name) for name in (
            "file", "separator", "decimal_mark", "day_order", "time_zone", "time_of_day")}  # fmt: skip
        super().__init__(data, initial=initial, auto_id="sheet_%s")
        shown = examples(text, understood)
        offered = [("", "none"), *((str(i), f"{name} (as {shown[name]})" if shown[name] else name)
                                   for i, name in enumerate(names) if name)]  # fmt: skip
        for column in understood.form.columns if understood.form else ():
            is_needed = column.is_required and not column.may_be_empty
            place = names.index(understood.columns[column.name]) if column.name in understood.columns else ""
            self.fields[COLUMN + column.name] = forms.ChoiceField(
                label=column.name + " (needed)" * is_needed, choices=offered, required=False, initial=str(place)
            )

    def understood(self, before: Understanding, text: str) -> Understanding:
        """As it was chosen. before: what the form was made of."""
        data = self.cleaned_data
        names = headings(text, before.separator)
        columns = {name.removeprefix(COLUMN): names[int(place)] for name, place in data.items()
                   if name.startswith(COLUMN) and place}  # fmt: skip
        chosen = ("decimal_mark", "day_order", "time_zone", "time_of_day")
        return replace(before, columns=columns, **{name: data[name] for name in chosen})


@form_page
def sheet(request: HttpRequest) -> HttpResponse:
    """The file that is chosen, how it is understood, and what would come of it; stores nothing."""
    access.only_administrators(reader(request))
    try:
        text = _text(request)
    except NotRead as refused:
        return show(request, "inspections/sheet.html", {"problem": str(refused), "section": "people"}, status=422)
    if not text:
        problem = "No file is chosen, or it is empty." if request.method == "POST" else ""
        return show(request, "inspections/sheet.html", {"problem": problem, "section": "people"},
                    status=422 if problem else 200)  # fmt: skip
    form, understood = _understood(request, text)
    if form.errors:
        about: dict[str, Any] = {"asked": ["what is marked below"]}
    else:
        about = _looked_at(request, text, understood, is_as_spelt=bool(request.POST.get("as_spelt")))
    if request.POST.get("act") == "refused" and about.get("problems"):
        answer = HttpResponse(refused_rows(text, understood, about["problems"]).encode("utf-8-sig"),
                              content_type="text/csv; charset=utf-8")  # fmt: skip
        answer.headers["Content-Disposition"] = f'attachment; filename="refused {understood.file}"'
        return answer
    about |= {"text": text, "form": form, "was": understood, "section": "people", "store": ActForm()}
    return show(request, "inspections/sheet.html", about)


def _text(request: HttpRequest) -> str:
    upload = request.FILES.get("sheet")
    return text_of(upload.read()) if upload else str(request.POST.get("text", ""))


def _understood(request: HttpRequest, text: str) -> tuple[SheetForm, Understanding]:
    """As the file tells, or, once the form was sent, as it says; another kind or separator is understood anew."""
    upload, sent = request.FILES.get("sheet"), request.POST
    if upload:
        understood = understand(text, upload.name or "")
        return SheetForm(text=text, understood=understood), understood
    kind, separator = _known(sent, "file", KINDS), _known(sent, "separator", SEPARATORS)
    understood = understand(text, kind, separator)
    if (kind, separator) != (sent.get("was_file"), sent.get("was_separator")):
        return SheetForm(text=text, understood=understood), understood
    form = SheetForm(sent, text=text, understood=understood)
    return form, form.understood(understood, text) if form.is_valid() else understood


def _known(sent: QueryDict, name: str, words: dict[str, str]) -> str:
    return sent.get(name, "") if sent.get(name) in words else ""


def _looked_at(request: HttpRequest, text: str, understood: Understanding, *, is_as_spelt: bool) -> dict[str, Any]:
    """What is still asked; else what would be stored, and what is wrong, by reason."""
    if asked := questions(text, understood):
        return {"asked": [ASKED[each] for each in asked]}
    known = list(access.serials_of_reels())
    spelt = {} if is_as_spelt else spellings_of(serials_in(text, understood), known)
    ours = as_ours(text, understood, spelt)
    about: dict[str, Any] = {"spelt": list(spelt.items()), "ours": ours}
    files = {understood.file: ours.encode()}
    if not task.is_small(files):
        return {**about, "is_large": True}
    try:
        summary = task.import_here(files, actor=Actor(reader(request)), at=timezone.now(), is_dry_run=True)
    except ImportRefused as refused:
        problems: tuple[FileProblem, ...] = refused.facts["problems"]
        reasons = Counter((each.column or "the row", each.allowed) for each in problems)
        return {**about, "problems": problems, "first": problems[:10], "total": refused.facts["total"],
                "reasons": [(column, allowed, n) for (column, allowed), n in reasons.most_common()]}  # fmt: skip
    return {**about, "would": task.in_words(summary)}


class SheetStoreForm(ActForm):
    """One of our own files, as it was looked at."""

    file = forms.ChoiceField(choices=[(name, name) for name in FILES], widget=forms.HiddenInput)
    ours = forms.CharField(strip=False, widget=forms.HiddenInput)


class SheetStoreView(HaveDoneView):
    """Store what was looked at: all of it, or nothing."""

    form_class = SheetStoreForm
    before = "sheet"
    title, button = "Store these rows", "Store them"
    says = "Either everything is stored or nothing. The same rows stored again change nothing."

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def elsewhere(self) -> str:
        return reverse("sheet")

    def put(self, data: dict[str, Any]) -> TaskRun:
        files = {data["file"]: data["ours"].encode()}
        return task.have_imported(files, actor=self.actor, is_dry_run=False)

    def context(self) -> dict[str, Any]:
        return {"section": "people"}
