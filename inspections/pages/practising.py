"""Practice: choose a reel, count it step by step as on the worksheet, and see what was missed and why it matters."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.safestring import SafeString

from inspections import access
from inspections.domain.practice import FieldMark, PracticeReel, ReadinessRule, halves_decide
from inspections.domain.practice.figures import bench_figures
from inspections.domain.practice.words import FIELD_NAMES, RULE_NAMES, SLIP_NAMES, TRAP_NAMES, value_in_words
from inspections.errors import PracticeStepPassed
from inspections.models import Exercise
from inspections.pages.forms import StepForm
from inspections.pages.practice_forms import REFER, ExerciseForm, MeasuredStepForm, ResultForm
from inspections.pages.readiness import results_by_rule, standing_under
from inspections.pages.worksheet import TITLES
from inspections.queries import practice as found
from inspections.services import practice
from inspections.services.practice import RESULT_STEP
from reels import access as reel_access
from reels.domain.words import Side
from reels.errors import Refused
from reels.pages.acts import NOT_TAKEN
from reels.pages.answers import form_page, page, reader, show
from reels.pages.figures import drawn
from reels.services.history import Actor

STEP_TITLES = {**TITLES, RESULT_STEP: "What you make of it"}
FIGURES = {1: ("flanges", "line"), 2: ("line",), 3: ("gauge_odd", "gauge_even"), 4: ("crossover",), RESULT_STEP: ()}
MOST_WIDTH_PT = 400  # a wider drawing scrolls by itself on a phone
SHOWN = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing, and whether a phone has to scroll it."""

    title: str
    drawing: SafeString
    is_wide: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRow:
    """A marked field in words."""

    name: str
    rule: str
    entered: str
    right: str
    slip: str
    why: str
    is_right: bool


# Begin --------------------------------------------------------------------------------------------------------------


@form_page
def start(request: HttpRequest) -> HttpResponse:
    """Choose a reel type and a difficulty, or a seed to repeat; where one stands."""
    person, at = reader(request), timezone.now()
    types = list(reel_access.reel_types().values_list("code", flat=True))
    asked = {name: request.GET[name] for name in ("reel_type", "difficulty", "seed") if name in request.GET}
    sent = request.POST if request.method == "POST" else None
    form = ExerciseForm(sent, reel_types=types, initial=asked, auto_id="practice-%s")
    if request.method == "POST" and form.is_valid() and (begun := _begin(request, form)):
        return redirect("practice-reel", begun.pk)
    rules = found.requirements_where_posted(person, at) or [found.ReadinessRequirement(rule=ReadinessRule())]
    shown = {
        "form": form, "under_way": found.open_exercise(person), "latest": found.latest_exercises(person, SHOWN),
        "standing": standing_under(rules, person, at), "by_rule": results_by_rule(rules[0].rule, person, at),
        "within_days": rules[0].rule.within_days, "instructs": access.instructed_sites(person, at).exists(),
        "section": "practice",
    }  # fmt: skip
    answer = show(request, "inspections/practice/start.html", shown)
    answer.status_code = NOT_TAKEN if form.errors else 200
    return answer


def _begin(request: HttpRequest, form: ExerciseForm) -> Exercise | None:
    given = form.cleaned_data
    try:
        return practice.begin_exercise(
            reel_type=reel_access.reel_type(given["reel_type"]), difficulty=given["difficulty"], seed=given["seed"],
            actor=Actor(reader(request)), at=timezone.now(),
        )  # fmt: skip
    except Refused as refused:
        form.add_error(None, str(refused))
        return None


# Count --------------------------------------------------------------------------------------------------------------


@form_page
def exercise(request: HttpRequest, exercise_id: int) -> HttpResponse:
    """The step that is to be entered next; the answers once all are."""
    one = access.exercise_for_read(exercise_id, reader(request), timezone.now())
    if one.ended_at:
        return redirect("practice-answers", one.pk)
    reel = found.reel_of(one)
    is_sent = request.method == "POST" and request.POST.get("step") == str(one.step)
    stops = is_sent and "stop" in request.POST
    form = _form(request.POST if is_sent and not stops else None, one.step, reel)
    if request.method == "POST" and (not is_sent or stops or form.is_valid()):
        _enter(request, one, form, is_sent=is_sent, stops=stops)
        return redirect("practice-reel", one.pk)
    answer = show(request, "inspections/practice/step.html", _step(one, reel, form))
    answer.status_code = NOT_TAKEN if form.errors else 200
    return answer


def _form(data: Any, step: int, reel: PracticeReel) -> forms.Form:
    if step == RESULT_STEP:
        return ResultForm(data)
    kind = StepForm if halves_decide(reel.parameters) else MeasuredStepForm
    return kind(data, points=practice.points_at(step))


def _enter(request: HttpRequest, one: Exercise, form: forms.Form, *, is_sent: bool, stops: bool) -> None:
    """Hand what was sent to the service; a step that is behind already was sent twice, and changes nothing."""
    by: dict[str, Any] = {"exercise_id": one.pk, "actor": Actor(reader(request)), "at": timezone.now()}
    try:
        if not is_sent:
            return
        if stops:
            practice.stop_exercise(step=one.step, **by)
        elif isinstance(form, StepForm):
            practice.enter_step(step=one.step, by_point=form.given(), **by)
        else:
            said = form.cleaned_data
            practice.enter_result(refers=said["way"] == REFER, layers=said["layers"], wraps=said["wraps"], **by)
    except PracticeStepPassed:
        return


def _step(one: Exercise, reel: PracticeReel, form: forms.Form) -> dict[str, Any]:
    pictures = bench_figures(reel, Side(one.reference_side))
    return {
        "exercise": one, "reel": reel, "form": form, "title": STEP_TITLES[one.step], "last_step": RESULT_STEP,
        "figures": [_figure(name, pictures) for name in FIGURES[one.step]], "section": "practice",
        "entered": _entered(one) if one.step == RESULT_STEP else [],
    }  # fmt: skip


def _figure(name: str, pictures: dict[str, Any]) -> Figure:
    picture = pictures[name]
    is_wide = picture.width > MOST_WIDTH_PT
    return Figure(title=picture.title, drawing=drawn(picture, name.replace("_", "-")), is_wide=is_wide)


def _entered(one: Exercise) -> list[tuple[str, str]]:
    """What was read so far, in words, in the order of the bench."""
    reading = found.sheet_of(one).reading
    crossover = reading.crossover_half if reading.crossover_deg is None else reading.crossover_deg
    values = {name: crossover if name == "crossover" else getattr(reading, name, None) for name in FIELD_NAMES}
    return [
        (FIELD_NAMES[name], value_in_words(name, values[name]))
        for name in FIELD_NAMES
        if name not in found.RESULT_FIELDS
    ]


# See ----------------------------------------------------------------------------------------------------------------


@page
def answers(request: HttpRequest, exercise_id: int) -> HttpResponse:
    """Each step of a reel that was entered: what was right, what was missed, and why it matters."""
    one = access.exercise_for_read(exercise_id, reader(request), timezone.now())
    if not one.ended_at:
        return redirect("practice-reel", one.pk)
    reel, marking = found.reel_of(one), found.marking_of(one)
    pictures = bench_figures(reel, Side(one.reference_side))
    shown = {
        "exercise": one, "reel": reel, "answer": reel.answer, "is_right": not one.misses,
        "marks": [mark_row(each) for each in marking.marks], "is_own": one.person_id == reader(request).pk,
        "missed": [mark_row(each) for each in marking.missed],
        "traps": [words for trap, words in TRAP_NAMES.items() if trap in reel.traps],
        "figures": [_figure(name, pictures) for name in pictures], "section": "practice",
    }  # fmt: skip
    return show(request, "inspections/practice/answers.html", shown)


def mark_row(mark: FieldMark) -> MarkRow:
    return MarkRow(
        name=FIELD_NAMES[mark.field], rule=RULE_NAMES[mark.rule], entered=value_in_words(mark.field, mark.entered),
        right=value_in_words(mark.field, mark.right), slip=SLIP_NAMES[mark.slip] if mark.slip else "",
        why=mark.why or "", is_right=mark.is_right,
    )  # fmt: skip
