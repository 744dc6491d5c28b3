"""What the worker has to do, does and could not do, for administrators."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import get_date_max

from reels import access, queries
from reels.models import TaskRun
from reels.pages.answers import page, reader, show

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
def stamp(request: HttpRequest, pk: UUID) -> HttpResponse:
    """For a page that goes on by itself: at each step of a task, or (?ending) when it has ended."""
    run = access.task(pk)
    return JsonResponse({"stamp": f"{run.is_live}" if "ending" in request.GET else run.stamp})


def _row(run: TaskRun) -> dict[str, object]:
    result = run.result
    again_at = result.run_after if result.status == TaskResultStatus.READY else get_date_max()
    at = result.finished_at or result.started_at or result.enqueued_at
    how_far = f"{run.done} of {run.of}" if run.of and run.is_live else ""
    return {"run": run, "at": at, "again_at": again_at if again_at < get_date_max() else None, "how_far": how_far}
