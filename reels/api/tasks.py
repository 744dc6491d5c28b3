"""What the worker has to do, does, and could not do; stopped, let go on, and tried again."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from reels import access
from reels.api import serializers as shapes
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.fields import Moment, Text
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.domain.words import Scope
from reels.models import TaskRun
from reels.services import tasks


class TaskOut(shapes.NotYetOut):
    """A task. `result` is of the operation that it was asked for by, and null before the task is done."""

    asked_at = Moment()
    asked_by = shapes.PersonOut(allow_null=True, help_text="null: it is anybody's.")
    ended_at = Moment(source="result.finished_at", allow_null=True)
    tries = serializers.IntegerField()
    details = serializers.ListField(child=Text(), help_text="Each thing that was wrong, in a sentence.")
    stopped_by = shapes.PersonOut(allow_null=True)
    result = serializers.JSONField(source="result.return_value")


class TaskListEndpoint(Endpoint):
    @read("tasks_list", TaskOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """Every task of the last 30 days, the newest first; for administrators."""
        return call.page(access.tasks(call.actor.person), "-asked_at", "-key")


class TaskDetailEndpoint(Endpoint):
    @read("tasks_show", TaskOut, scope=(Scope.READ, Scope.IMPORT))
    def get(self, call: Call, task: UUID) -> TaskRun:
        """One task: how far it is, and what came of it. For who asked for it, and for administrators."""
        return access.task(task, call.actor.person)


class TaskStopEndpoint(Endpoint):
    @create("tasks_stop", TaskOut, status=200)
    def post(self, call: Call, task: UUID) -> Any:
        """Hold a task back, for administrators. A worker that is at it leaves off at its next step."""
        return tasks.stop(task, actor=call.actor, at=call.at)


class TaskResumptionEndpoint(Endpoint):
    @create("tasks_resume", TaskOut, status=200)
    def post(self, call: Call, task: UUID) -> Any:
        """Let a stopped task go on where it left off, for administrators."""
        return tasks.resume(task, actor=call.actor)


class TaskRetryEndpoint(Endpoint):
    @create("tasks_try_again", TaskOut, status=200)
    def post(self, call: Call, task: UUID) -> Any:
        """Put a task that has failed into the queue again."""
        return tasks.try_again(task, actor=call.actor)
