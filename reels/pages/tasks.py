"""What the worker has to do, does and could not do; for administrators, and one's own for everybody."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import get_date_max

from reels import access, queries
from reels.domain.text import set_apart
from reels.models import TaskRun
from reels.models.tasks import STOPPED, STOPPING
from reels.pages.acts import ActView
from reels.pages.answers import page, reader, show
from reels.services import tasks

SHOWN = 50
STATES = (  # code, heading, what is said where there is none
    (TaskResultStatus.RUNNING, "At work", "Nothing is being worked at."),
    (TaskResultStatus.READY, "Waiting", "Nothing waits."),
    (TaskResultStatus.FAILED, "Failed", "No task has failed in the last 30 days."),
    (TaskResultStatus.SUCCESSFUL, "Done", "No task has been done in the last 30 days."),
)


@page
def everything(request: HttpRequest) -> HttpResponse:
    """Every task by its state, the newest first; and when a worker was seen last."""
    rows, now = access.tasks(reader(request)), timezone.now()
    parts = [
        {"heading": heading, "none": none, "rows": [_row(run) for run in rows.filter(result__status=state)[:SHOWN]]}
        for state, heading, none in STATES
    ]
    about = {"section": "people", "parts": parts, "worker_seen_at": queries.worker_seen_at(),
             "due_at": queries.oldest_task_due(now)}  # fmt: skip
    return show(request, "reels/tasks.html", about)


@page
def one(request: HttpRequest, pk: UUID) -> HttpResponse:
    """How far a task is, and what came of it. The page goes on by itself until it has ended."""
    person = reader(request)
    run = access.task(pk, person)
    about = {"section": "people" if person.is_staff else "", "run": run, "may": _may(run, is_staff=person.is_staff)}
    return show(request, "reels/task.html", about)


@page
def stamp(request: HttpRequest, pk: UUID) -> HttpResponse:
    """For a page that goes on by itself: at each step of a task, or (?ending) when it has ended."""
    run = access.task(pk, reader(request))
    return JsonResponse({"stamp": f"{run.is_live}" if "ending" in request.GET else run.stamp})


def _may(run: TaskRun, *, is_staff: bool) -> list[dict[str, str]]:
    """What may be done with it now: the page of each act, and what its link says."""
    acts: dict[str, list[type[TaskActView]]] = {"failed": [RetryView]}
    if is_staff:
        acts |= {"waiting": [StopView], "running": [StopView], STOPPED: [ResumeView], STOPPING: [ResumeView]}
    return [{"address": reverse(act.name, args=[run.pk]), "words": act.button} for act in acts.get(run.state, ())]


def _row(run: TaskRun) -> dict[str, object]:
    result = run.result
    again_at = result.run_after if result.status == TaskResultStatus.READY else get_date_max()
    at = result.finished_at or result.started_at or result.enqueued_at
    how_far = f"{run.done} of {run.of}" if run.of and run.is_live else ""
    if isinstance(result.return_value, dict):
        how_far = " ".join(result.return_value.get("in_words", ()))
    stopped = f"stopped by {set_apart(run.stopped_by.full_name)}" if run.stopped_by else ""
    return {"run": run, "at": at, "again_at": again_at if again_at < get_date_max() else None,
            "how_far": " ".join(filter(None, (how_far, stopped))), "may": _may(run, is_staff=True)}  # fmt: skip


# Acts -----------------------------------------------------------------------------------------------------------------


class HaveDoneView(ActView):
    """An act that a worker carries out: it leads to the page of its task. before: the page that one came from."""

    template_name = "reels/form.html"
    before: ClassVar[str]
    run: TaskRun | None = None

    def put(self, data: dict[str, Any]) -> TaskRun:
        """Put the task into the queue."""
        raise NotImplementedError

    def do(self, data: dict[str, Any]) -> None:
        self.run = self.put(data)

    def done_at(self) -> str:
        return reverse("task", args=[self.run.pk]) if self.run else reverse(self.before)


class TaskActView(ActView):
    """An act on one task."""

    template_name = "reels/form.html"
    name: ClassVar[str]
    button: ClassVar[str]
    says: ClassVar[str]
    subject: TaskRun

    def find(self, pk: UUID) -> None:  # type: ignore[override]  # the address names the task
        self.subject = access.task(pk, self.person)

    @property
    def title(self) -> str:
        return f"{self.button}: {self.subject.title}"

    def done_at(self) -> str:
        return reverse("task", args=[self.subject.pk])

    def context(self) -> dict[str, Any]:
        return {"section": "people" if self.person.is_staff else ""}


class AdministratorTaskView(TaskActView):
    def find(self, pk: UUID) -> None:  # type: ignore[override]  # as above
        access.only_administrators(self.person)
        super().find(pk)


class StopView(AdministratorTaskView):
    name, button = "task-stop", "Stop it"
    says = (
        "No worker begins it; one that is at it leaves off at its next step. What it has done stays done, and it goes "
        "on from there when you let it. What is stored whole or not at all, as an import, begins again."
    )

    def do(self, data: dict[str, Any]) -> None:
        tasks.stop(self.subject.pk, actor=self.actor, at=self.at)
        self.message = f"Stopped: {self.subject.title}."


class ResumeView(AdministratorTaskView):
    name, button = "task-resumption", "Let it go on"
    says = "It waits for a worker again, and goes on where it left off."

    def do(self, data: dict[str, Any]) -> None:
        tasks.resume(self.subject.pk, actor=self.actor)
        self.message = f"Goes on: {self.subject.title}."


class RetryView(TaskActView):
    name, button = "task-retry", "Try it again"
    says = "It waits for a worker again. If the reason why it failed is still there, it fails again and says so."

    def do(self, data: dict[str, Any]) -> None:
        self.subject = tasks.try_again(self.subject.pk, actor=self.actor)
        self.message = f"Waits again: {self.subject.title}."
