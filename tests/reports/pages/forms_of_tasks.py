"""The acts on tasks that have a form."""

from reels.services import tasks
from tests.reports.pages.forms_of_acts import administrators_act
from tests.reports.pages.forms_of_practice import CASES
from tests.worker import failed_task, stopped_task, write_lines

__all__ = ["CASES"]


def waiting() -> str:
    return f"/tasks/{tasks.put(write_lines, 1, 1, key='lines', title='Lines').pk}/stop"


administrators_act("task-stop", waiting, {}, {})
administrators_act("verification", lambda: "/audit/verification", {}, {})
administrators_act("task-resumption", lambda: f"/tasks/{stopped_task().pk}/resumption", {}, {})
administrators_act("task-retry", lambda: f"/tasks/{failed_task().pk}/retry", {}, {})
