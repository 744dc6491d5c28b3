"""Practice: choose a reel, count it step by step as on the worksheet, and see what was missed and why it matters."""

from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain.practice import FieldMark, PracticeReel, ReadinessRule
from inspections.domain.practice.figures import bench_figures
from inspections.domain.practice.words import (
    FIELD_NAMES,
    RULE_NAMES,
    SLIP_NAMES,
    stand_in_words,
    traps_in_words,
    value_in_words,
)
from inspections.models import Exercise
from inspections.pages.count.forms import StepForm
from inspections.pages.count.step_figures import how_to_figures, shown_figure
from inspections.pages.count.worksheet import TITLES
from inspections.pages.practice.forms import REFER, ExerciseForm, ResultForm, StandForm
from inspections.pages.practice.readiness import results_by_rule, standing_under
from inspections.queries import practice as exercises
from inspections.services import practice
from inspections.services.practice import RESULT_STEP, STAND_STEP
from reels import access as reel_access
from reels.domain.reel_figures import DrumSection, drum_of
from reels.pages.acts import SEEN, ActForm, ActView
from reels.pages.answers import page, reader, show

STEP_TITLES = {**TITLES, STAND_STEP: "Data plates and condition", RESULT_STEP: "Setup values or referral"}
FIGURES = {
    STAND_STEP: ("plates",), 2: ("flanges", "line"), 3: ("flanges", "line"), 4: ("line",),
    5: ("gauge_odd", "gauge_even"), 6: ("crossover",), RESULT_STEP: (),
}  # fmt: skip
SHOWN = 10


# Begin --------------------------------------------------------------------------------------------------------------


class PracticeView(ActView):
    """Choose a reel type and a difficulty, or a seed to repeat; where one stands."""

    form_class = ExerciseForm
    template_name = "inspections/practice/start.html"
    begun: Exercise | None = None

    @cached_property
    def types(self) -> list[str]:
        return list(reel_access.reel_types().values_list("code", flat=True))

    def form_options(self) -> dict[str, Any]:
        asked = {
            name: self.request.GET[name] for name in ("reel_type", "difficulty", "seed") if name in self.request.GET
        }
        return {"reel_types": self.types, "initial": asked, "auto_id": "practice-%s"}

    def seen(self) -> str:
        """The exercise that is under way, if one is."""
        under_way = exercises.open_exercise(self.person)
        return str(under_way.pk) if under_way else ""

    def do(self, data: dict[str, Any]) -> None:
        self.begun = practice.begin_exercise(
            reel_type=reel_access.reel_type(data["reel_type"]), difficulty=data["difficulty"], seed=data["seed"],
            actor=self.actor, at=self.at,
        )  # fmt: skip

    def done_at(self) -> str:
        return reverse("practice-reel", args=[self.begun.pk]) if self.begun else reverse("practice")

    def context(self) -> dict[str, Any]:
        rules = exercises.requirements_where_posted(self.person, self.at) or [
            exercises.ReadinessRequirement(rule=ReadinessRule())
        ]
        return {
            "under_way": exercises.open_exercise(self.person), "latest": exercises.latest_exercises(self.person, SHOWN),
            "standing": standing_under(rules, self.person, self.at), "within_days": rules[0].rule.within_days,
            "by_rule": results_by_rule(rules[0].rule, self.person, self.at), "section": "practice",
            "instructs": access.instructed_sites(self.person, self.at).exists(),
        }  # fmt: skip


# Count --------------------------------------------------------------------------------------------------------------


class PracticeStepView(ActView):
    """The step that is to be entered next; the answers once all are."""

    template_name = "inspections/practice/step.html"
    exercise: Exercise
    reel: PracticeReel

    def find(self, exercise_id: int) -> None:  # type: ignore[override]  # the address names the exercise
        self.exercise = access.exercise_for_read(exercise_id, self.person, self.at)
        self.reel = exercises.reel_of(self.exercise)

    def elsewhere(self) -> str:
        return reverse("practice-answers", args=[self.exercise.pk]) if self.exercise.ended_at else ""

    def seen(self) -> str:
        return "" if self.exercise.ended_at else str(self.exercise.step)

    @property
    def drum(self) -> DrumSection:
        return drum_of(self.exercise.parameters, self.exercise.reference_side)

    @property
    def step(self) -> int:
        """The step that is shown: what was sent is shown again at its own, though it be entered since."""
        sent = self.request.POST.get(SEEN, "")
        return next((step for step in STEP_TITLES if str(step) == sent), self.exercise.step)

    def form(self, data: QueryDict | None = None, files: Any = None) -> ActForm:
        if data is not None and "stop" in data:
            return ActForm(data)
        if self.step == STAND_STEP:
            return StandForm(data)
        if self.step == RESULT_STEP:
            return ResultForm(data)
        return StepForm(data, points=practice.points_at(self.step), rules=self.reel.parameters, drum=self.drum)

    def do(self, data: dict[str, Any]) -> None:
        by: dict[str, Any] = {"exercise_id": self.exercise.pk, "actor": self.actor, "at": self.at}
        if isinstance(self.sent_form, StandForm):
            practice.enter_stand(**data, **by)
        elif isinstance(self.sent_form, StepForm):
            practice.enter_step(step=self.step, by_point=self.sent_form.by_point(), **by)
        elif isinstance(self.sent_form, ResultForm):
            practice.enter_result(refers=data["way"] == REFER, layers=data["layers"], wraps=data["wraps"], **by)
        else:
            practice.stop_exercise(step=self.step, **by)

    def done_at(self) -> str:
        return reverse("practice-reel", args=[self.exercise.pk])

    def context(self) -> dict[str, Any]:
        pictures = bench_figures(self.reel, self.drum)
        return {
            "exercise": self.exercise, "reel": self.reel, "title": STEP_TITLES[self.step], "last_step": RESULT_STEP,
            "figures": [shown_figure(pictures[name], name) for name in FIGURES[self.step]], "section": "practice",
            "how_to": how_to_figures(practice.points_at(self.step), rules=self.reel.parameters, drum=self.drum),
            "entered": _entered(self.exercise) if self.step == RESULT_STEP else [], "stop": ActForm(),
            "on_stand": stand_in_words(self.reel.stand) if self.step == STAND_STEP else [],
        }  # fmt: skip


def _entered(one: Exercise) -> list[tuple[str, str]]:
    """What was read so far, in words, in the order of the bench."""
    reading = exercises.sheet_of(one).reading
    crossover = reading.crossover_half if reading.crossover_deg is None else reading.crossover_deg
    drum = drum_of(one.parameters, one.reference_side)
    values = {name: crossover if name == "crossover" else getattr(reading, name, None) for name in FIELD_NAMES}
    return [
        (FIELD_NAMES[name], value_in_words(name, values[name], drum))
        for name in FIELD_NAMES
        if name not in (*exercises.STAND_FIELDS, *exercises.RESULT_FIELDS)
    ]


# See ----------------------------------------------------------------------------------------------------------------


@page
def answers(request: HttpRequest, exercise_id: int) -> HttpResponse:
    """Each step of a reel that was entered: what was right, what was missed, and why it matters."""
    one = access.exercise_for_read(exercise_id, reader(request), timezone.now())
    if not one.ended_at:
        return redirect("practice-reel", one.pk)
    reel, marking = exercises.reel_of(one), exercises.marking_of(one)
    drum = drum_of(one.parameters, one.reference_side)
    pictures = bench_figures(reel, drum)
    shown = {
        "exercise": one, "reel": reel, "answer": reel.answer, "is_right": not one.misses,
        "marks": [mark_row(each, drum) for each in marking.marks], "is_own": one.person_id == reader(request).pk,
        "missed": [mark_row(each, drum) for each in marking.missed],
        "traps": traps_in_words(reel), "on_stand": stand_in_words(reel.stand),
        "figures": [shown_figure(pictures[name], name) for name in pictures], "section": "practice",
    }  # fmt: skip
    return show(request, "inspections/practice/answers.html", shown)


def mark_row(mark: FieldMark, drum: DrumSection) -> dict[str, Any]:
    return {
        "name": FIELD_NAMES[mark.field], "rule": RULE_NAMES[mark.rule],
        "entered": value_in_words(mark.field, mark.entered, drum),
        "right": value_in_words(mark.field, mark.right, drum),
        "slip": SLIP_NAMES[mark.slip] if mark.slip else "",
        "why": mark.why or "", "is_right": mark.is_right,
    }  # fmt: skip
