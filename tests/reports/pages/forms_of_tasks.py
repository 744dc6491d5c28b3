"""The acts on tasks that have a form."""

from inspections.services.intake import mappings, sheets
from reels.models import Upload
from reels.services import tasks
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast
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


def looked_at() -> Upload:
    person = builders.administrator()
    return sheets.begin(b"serial,type,site,received_on,cable_length_m\n", "reels.csv", person=person, at=NOW)


def kept_mapping() -> int:
    understood = sheets.understanding_of(looked_at())
    by = Actor(builders.administrator())
    return mappings.keep(name="of the base", understood=understood, used=None, actor=by, at=NOW).pk


administrators_act("mapping-keep", lambda: f"/imports/sheet/{looked_at().pk}/mapping", {"name": "here"}, {"name": "h"})
administrators_act("mapping-rename", lambda: f"/imports/mappings/{kept_mapping()}/name", {"name": "h"}, {"name": "i"})
administrators_act("mapping-end", lambda: f"/imports/mappings/{kept_mapping()}/end", {}, {})
administrators_act("evidence", lambda: "/evidence", {"reels": ""}, {"reels": "LW-0009"})
administrators_act("verification", lambda: "/audit/verification", {}, {})
administrators_act("task-resumption", lambda: f"/tasks/{stopped_task().pk}/resumption", {}, {})
administrators_act("task-retry", lambda: f"/tasks/{failed_task().pk}/retry", {}, {})
