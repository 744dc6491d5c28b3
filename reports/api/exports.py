"""Many documents as one file over the API: put together by a worker, and fetched."""

from uuid import UUID

from django.http import StreamingHttpResponse

from reels.api.endpoints import Call, Endpoint, create, read_file
from reels.api.fields import Moment, Text
from reels.api.forms import Form
from reels.api.serializers import NotYetOut
from reels.errors import NotYet
from reports.services import export_task

ZIP = "application/zip"


class ExportIn(Form):
    site = Text(required=False, max_length=30, help_text="Of reels at this site, by its code.")
    reel = Text(required=False, max_length=40, help_text="Of this reel.")
    since = Moment(required=False, help_text="Counted from then on.")
    until = Moment(required=False, help_text="Counted before then.")


class ExportListEndpoint(Endpoint):
    @create("exports_ask", NotYetOut, ExportIn, status=202)
    def post(self, call: Call) -> NotYet:
        """Have the newest document of each inspection put together, with a manifest, of those that one may see.

        `result` of the task says how many they are, how many bytes, and the file is at `/exports/NUMBER` for two days.
        """
        run = export_task.have_exported(call.payload, actor=call.actor, at=call.at)
        return NotYet(run, at=f"/api/v1/tasks/{run.pk}")


class ExportEndpoint(Endpoint):
    @read_file("exports_fetch", ZIP, is_text=False)
    def get(self, call: Call, task: UUID) -> StreamingHttpResponse:
        """The ZIP file, for who asked for it."""
        pieces, size = export_task.fetch(task, call.actor.person)
        return StreamingHttpResponse(pieces, content_type=ZIP, headers={"Content-Length": str(size)})
