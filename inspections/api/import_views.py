"""Older records brought in over the API: the files of `import_records`, or a spreadsheet's by a mapping, as text."""

from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inspections.domain.intake.understanding import NotRead
from inspections.errors import ImportRefused
from inspections.services.intake import FILES, ImportSummary, sheets, task
from reels.api.endpoints import Call, Endpoint, create
from reels.api.fields import Text, YesNo
from reels.api.forms import Form
from reels.api.serializers import Awaited
from reels.domain.words import Scope
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
    """Either files of ours, or a spreadsheet's text and the name of the mapping by which it is read."""

    files = FilesIn(required=False)
    sheet = FileText(required=False, trim_whitespace=False, help_text="The text of a spreadsheet's file.")
    mapping = Text(required=False, max_length=80, help_text="How the sheet is read: a name that was kept on its page.")
    dry_run = YesNo(default=False, help_text="Check everything and store nothing.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        names = [name for name in ("files", "sheet", "mapping") if name in attrs]
        if names not in (["files"], ["sheet", "mapping"]):
            seen = " and ".join(names) or "neither"
            raise ValidationError(f"Given: {seen}; needed: files, or sheet and mapping.")
        return attrs


class ImportOut(Awaited):
    is_dry_run = YesNo()
    stored = serializers.DictField(child=serializers.IntegerField(), help_text="Rows by file that had any.")
    already = serializers.DictField(child=serializers.IntegerField(), help_text="Rows that were there before.")
    new_sites = serializers.ListField(child=serializers.CharField())


class ImportEndpoint(Endpoint):
    most_body_bytes = 50_000_000  # years of a fleet's counts

    @create("imports_make", ImportOut, ImportIn, status=200, scope=Scope.IMPORT)
    def post(self, call: Call) -> ImportSummary | NotYet:
        """Bring in older records, all or nothing: an administrator's act. Every bad row is named by line and column.

        A spreadsheet's file names the mapping by which it is read. Files of more than 100 kB in all are brought in by a
        worker: 202, and `result` or `details` of the task say what came of it.
        """
        files, is_dry_run = _files(call), call.payload["dry_run"]
        if not task.is_small(files):
            run = task.have_imported(files, actor=call.actor, is_dry_run=is_dry_run)
            return NotYet(run, at=f"/api/v1/tasks/{run.pk}")
        try:
            return task.import_here(files, actor=call.actor, at=call.at, is_dry_run=is_dry_run)
        except ImportRefused as refused:
            errors: Any = _by_file(refused)
            by_name = {"sheet": next(iter(errors.values()))} if "sheet" in call.payload else {"files": errors}
            raise ValidationError(by_name) from refused


def _files(call: Call) -> dict[str, bytes]:
    """What is to be brought in, by the names of our files. Raises ValidationError, OnlyAdministrators and others."""
    if "files" in call.payload:
        texts = call.payload["files"]
        return {file: texts[key].encode() for file, key in _KEYS.items() if key in texts}
    try:
        return sheets.ours_by_mapping(call.payload["sheet"].encode(), call.payload["mapping"], call.actor.person)
    except NotRead as refused:
        raise ValidationError({"sheet": [str(refused)]}) from refused


def _by_file(refused: ImportRefused) -> dict[str, list[ErrorDetail]]:
    errors: dict[str, list[ErrorDetail]] = {}
    for each in refused.facts["problems"]:
        errors.setdefault(each.file, []).append(ErrorDetail(str(each), refused.code))
    return errors
