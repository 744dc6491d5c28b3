"""Work that no request waits for: what a row of the task library does not hold."""

from django.db import models
from django.db.models import Q
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult

STATES = {
    TaskResultStatus.READY: "waiting",
    TaskResultStatus.RUNNING: "running",
    TaskResultStatus.FAILED: "failed",
    TaskResultStatus.SUCCESSFUL: "done",
}


class TaskRun(models.Model):
    """A task's key, lease and progress, beside the library's row, which holds what is called and what came of it.

    The lease is the name of the try that is at work; whoever holds another one is told so before they write.
    """

    result = models.OneToOneField(DBTaskResult, on_delete=models.CASCADE, primary_key=True, related_name="run")
    key = models.CharField(max_length=120, help_text="One of a key waits or runs at a time.")
    title = models.CharField(max_length=200)
    is_live = models.BooleanField(default=True, help_text="It waits or runs.")
    tries = models.PositiveSmallIntegerField(default=0)
    lease = models.CharField(max_length=32, blank=True, default="")
    beat_at = models.DateTimeField(null=True, help_text="When its worker said last that it is at it.")
    progress = models.CharField(max_length=200, blank=True, default="")
    done = models.PositiveIntegerField(default=0)
    of = models.PositiveIntegerField(default=0)
    problem = models.TextField(blank=True, default="", help_text="Why the last try did not succeed, in words.")

    class Meta:
        constraints = [
            models.UniqueConstraint(name="task_run_one_of_a_key", fields=("key",), condition=Q(is_live=True))
        ]
        indexes = [models.Index(name="task_run_newest_of_a_key", fields=("key",))]

    def __str__(self) -> str:
        return self.title

    @property
    def state(self) -> str:
        """Of STATES."""
        return STATES[TaskResultStatus(self.result.status)]

    @property
    def stamp(self) -> str:
        """Another one as soon as there is something new to see."""
        return f"{self.pk} {self.state} {self.done} {self.progress}"


class WorkerSeen(models.Model):
    """When a worker's process said last that it lives."""

    name = models.CharField(max_length=64, unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.name
