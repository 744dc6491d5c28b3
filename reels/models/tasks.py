"""Work that no request waits for: what a row of the task library does not hold."""

from uuid import uuid4

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from reels.models.people import Person

FAILED = "failed"
STATES = {
    TaskResultStatus.READY: "waiting",
    TaskResultStatus.RUNNING: "running",
    TaskResultStatus.FAILED: FAILED,
    TaskResultStatus.SUCCESSFUL: "done",
}
HELD_BACK = "held back"  # the queue of those that are stopped, which no worker looks into
STOPPED, STOPPING = "stopped", "stopping"  # a worker that is at it leaves off where it can
EVERY_STATE = (*STATES.values(), STOPPED, STOPPING)


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
    details = models.JSONField(default=list, help_text="Each thing that was wrong, in a sentence.")
    asked_at = models.DateTimeField(default=timezone.now)
    asked_by = models.ForeignKey(
        Person, null=True, on_delete=models.PROTECT, related_name="+", help_text="Null: it is anybody's."
    )
    stopped_at = models.DateTimeField(null=True)
    stopped_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(name="task_run_one_of_a_key", fields=("key",), condition=Q(is_live=True))
        ]
        indexes = [models.Index(name="task_run_newest_of_a_key", fields=("key",))]

    def __str__(self) -> str:
        return self.title

    @property
    def state(self) -> str:
        """Of EVERY_STATE."""
        state = STATES[TaskResultStatus(self.result.status)]
        if self.stopped_at is None or not self.is_live:
            return state
        return STOPPING if state == "running" else STOPPED

    @property
    def stamp(self) -> str:
        """Another one as soon as there is something new to see."""
        return f"{self.pk} {self.state} {self.done} {self.progress}"


class TaskFile(models.Model):
    """Bytes that a task is given, where it left off, or what it made, in pieces; removed before the task itself is."""

    run = models.ForeignKey(TaskRun, on_delete=models.CASCADE, related_name="files")
    name = models.CharField(max_length=80)
    number = models.PositiveIntegerField(default=0)
    content = models.BinaryField()

    class Meta:
        ordering = ("number",)
        constraints = [models.UniqueConstraint(name="task_file_one_of_a_number", fields=("run", "name", "number"))]

    def __str__(self) -> str:
        return f"{self.name} {self.number} of {self.run_id}"


class Upload(models.Model):
    """A file that somebody looks at before anything comes of it: compressed, with how it is taken, and no record."""

    id = models.UUIDField(primary_key=True, default=uuid4)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=200)
    content = models.BinaryField()
    about = models.JSONField(default=dict)
    said_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.name


class WorkerSeen(models.Model):
    """When a worker's process said last that it lives."""

    name = models.CharField(max_length=64, unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.name
