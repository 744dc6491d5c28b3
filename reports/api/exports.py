"""Many documents, or evidence, as one file over the API: put together by a worker, and fetched; and the register."""

from uuid import UUID

from django.http import StreamingHttpResponse
from rest_framework import serializers

from reels.api.checkpoints import JSON_LINES
from reels.api.endpoints import Call, Endpoint, create, read_file
from reels.api.fields import Moment, Text, Whole
from reels.api.forms import Form
from reels.api.serializers import NotYetOut
from reels.domain import ledger
from reels.errors import NotYet
from reels.queries import in_pages
from reports import access
from reports.services import evidence_task, export_task

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


class EvidenceIn(Form):
    reels = serializers.ListField(
        child=Text(max_length=40), default=list, max_length=1000,
        help_text="Their serials; none: every reel that one may see.",
    )  # fmt: skip
    since = Whole(required=False, default=None, min_value=1, max_value=None, allow_null=True,
                  help_text="An earlier checkpoint, by how many entries it covers.")  # fmt: skip


class EvidenceListEndpoint(Endpoint):
    @create("evidence_ask", NotYetOut, EvidenceIn, status=202)
    def post(self, call: Call) -> NotYet:
        """Have everything put together that an outsider needs to check records, for auditors and administrators.

        A checkpoint is made, and the file is as of that: records.md has its layout. `result` of the task says how large
        it is, and it is at `/evidence/NUMBER` for two days.
        """
        run = evidence_task.have_evidence(**call.payload, actor=call.actor, at=call.at)
        return NotYet(run, at=f"/api/v1/tasks/{run.pk}")


class EvidenceEndpoint(Endpoint):
    @read_file("evidence_fetch", ZIP, is_text=False, scope=None)
    def get(self, call: Call, task: UUID) -> StreamingHttpResponse:
        """The ZIP file, for who asked for it."""
        pieces, size = evidence_task.fetch(task, call.actor.person, call.at)
        return StreamingHttpResponse(pieces, content_type=ZIP, headers={"Content-Length": str(size)})


class RegisterExportEndpoint(Endpoint):
    @read_file("register_history_export", JSON_LINES, scope=None)
    def get(self, call: Call) -> StreamingHttpResponse:
        """Every entry of the register as its stored bytes, for auditors and administrators.

        A line {"content": base64} for each.
        """
        entries = in_pages(access.register_for_read(call.actor.person, call.at), ("seq",), 500)
        lines = (ledger.exported(bytes(entry.content)) for entry in entries)
        return StreamingHttpResponse(lines, content_type=JSON_LINES)
