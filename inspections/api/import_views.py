"""Older records brought in over the API: the files of `import_records`, as text."""

from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inspections.errors import ImportRefused
from inspections.services.intake import FILES, ImportSummary, task
from reels.api.endpoints import Call, Endpoint, create
from reels.api.fields import Text, YesNo
from reels.api.forms import Form
from reels.api.serializers import Awaited
from reels.errors import NotYet

_KEYS = {file: file.replace(".", "_") for file in FILES}


class FileText(Text):
    has_lines = None  # a whole file, which is made of lines and may begin with U+FEFF


class FilesIn(Form):
    """The text of each file, header row and all."""

    def get_fields(self) -> dict[str, Any]:
        # A dot in a name would stand for an object within an object.
        return {file: FileText(required=False, trim_whitespace=False, source=_KEYS[file]) for file in FILES}


class ImportIn(Form):
    files = FilesIn()
    dry_run = YesNo(default=False, help_text="Check everything and store nothing.")


class ImportOut(Awaited):
    is_dry_run = YesNo()
    stored = serializers.DictField(child=serializers.IntegerField(), help_text="Rows by file.")
    already = serializers.DictField(child=serializers.IntegerField(), help_text="Rows that were there before.")
    new_sites = serializers.ListField(child=serializers.CharField())


class ImportEndpoint(Endpoint):
    most_body_bytes = 50_000_000  # years of a fleet's counts

    @create("imports_make", ImportOut, ImportIn, status=200)
    def post(self, call: Call) -> ImportSummary | NotYet:
        """Bring in older records, all or nothing: an administrator's act. Every bad row is named by line and column.

        Files of more than 100 kB in all are brought in by a worker: 202, and `result` or `details` of the task say what
        came of it.
        """
        texts, is_dry_run = call.payload["files"], call.payload["dry_run"]
        files = {file: texts[key].encode() for file, key in _KEYS.items() if key in texts}
        if not task.is_small(files):
            run = task.have_imported(files, actor=call.actor, is_dry_run=is_dry_run)
            return NotYet(run, at=f"/api/v1/tasks/{run.pk}")
        try:
            return task.import_here(files, actor=call.actor, at=call.at, is_dry_run=is_dry_run)
        except ImportRefused as refused:
            raise ValidationError({"files": _by_file(refused)}) from refused


def _by_file(refused: ImportRefused) -> dict[str, list[ErrorDetail]]:
    errors: dict[str, list[ErrorDetail]] = {}
    for each in refused.facts["problems"]:
        errors.setdefault(each.file, []).append(ErrorDetail(str(each), refused.code))
    return errors
