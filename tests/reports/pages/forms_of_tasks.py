"""The acts on tasks that have a form."""

from reels.services import tasks
from tests.builders import Cast
from tests.reports.pages.forms_of_acts import Opened, administrators_act, case
from tests.reports.pages.forms_of_reference import CASES
from tests.worker import failed_task, stopped_task, write_lines

__all__ = ["CASES"]


def waiting() -> str:
    return f"/tasks/{tasks.put(write_lines, 1, 1, key='lines', title='Lines').pk}/stop"


administrators_act("task-stop", waiting, {}, {})


@case("export")
def _export(cast: Cast) -> Opened:
    return Opened(
        person=cast.colleague, address="/documents/export", typed={"reel": "LW-0001"}, altered={"reel": "LW-2"}
    )


administrators_act("evidence", lambda: "/evidence", {"reels": ""}, {"reels": "LW-0009"})
administrators_act("verification", lambda: "/audit/verification", {}, {})
administrators_act("task-resumption", lambda: f"/tasks/{stopped_task().pk}/resumption", {}, {})
administrators_act("task-retry", lambda: f"/tasks/{failed_task().pk}/retry", {}, {})
