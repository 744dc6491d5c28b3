"""Older records brought in over the API: the files of `import_records`, or a spreadsheet's by a mapping, as text."""

from typing import Any
from zoneinfo import available_timezones

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inspections.domain.intake import files
from inspections.domain.intake.understanding import DAY_ORDERS, MARKS, SEPARATORS, NotRead, Understanding
from inspections.errors import ImportRefused
from inspections.models import SheetMapping
from inspections.services.intake import FILES, ImportSummary, mappings, sheets, task
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.fields import Maybe, Number, Text, Word, YesNo, shown
from reels.api.forms import Form, Out, PageQuery
from reels.api.paging import Page
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
    mapping = Text(required=False, max_length=80, help_text="How the sheet is read: the name of a mapping.")
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


# How sheets are read -------------------------------------------------------------------------------------------------


class SpellingIn(Form):
    seen = Text(max_length=200, help_text="As the file has it.")
    meant = Text(max_length=200, help_text="As it is on record.")


class MappingIn(Form):
    """How one kind of sheet is read; what is null or left out is told by each file, or asked for."""

    name = Text(max_length=80)
    file = Word(FILES, help_text="Which of our files it stands for.")
    separator = Word(SEPARATORS)
    columns = serializers.DictField(child=Text(max_length=200), help_text="Our column: its heading in the sheet.")
    decimal_mark = Word(MARKS, allow_null=True, default=None)
    day_order = Word(DAY_ORDERS, allow_null=True, default=None, help_text="Of dates such as 03/04/2026.")
    time_zone = Text(max_length=40, allow_null=True, default=None, help_text="Of times without one: its IANA name.")
    time_of_day = serializers.RegexField(r"^([01]\d|2[0-3]):[0-5]\d\Z", allow_null=True, default=None,
                                         help_text="Of a moment that is only a day, as 12:00.")  # fmt: skip
    spellings = serializers.ListField(child=SpellingIn(), default=list, max_length=1000)
    as_spelt = YesNo(default=False, help_text="Take no serial for another spelling of one on record.")

    def validate_time_zone(self, name: str | None) -> str | None:
        if name and name not in available_timezones():
            raise ValidationError(f"{shown(name)} is no time zone; needed: an IANA name, such as Europe/Berlin.")
        return name

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        [form] = [form for form in files.FORMS if form.file == attrs["file"]]
        names = [column.name for column in form.columns]
        if unknown := [name for name in attrs["columns"] if name not in names]:
            why = f"{form.file} has no column {shown(unknown[0])}; its columns: {', '.join(names)}."
            raise ValidationError({"columns": [why]})
        return attrs


class MappingOut(Out):
    id = Number()
    name = Text()
    file = Text(source="understood.file")
    separator = Text(source="understood.separator")
    columns = serializers.DictField(child=Text(), source="understood.columns")
    decimal_mark = Word(MARKS, source="understood.decimal_mark", allow_null=True)
    day_order = Word(DAY_ORDERS, source="understood.day_order", allow_null=True)
    time_zone = Maybe(source="understood.time_zone")
    time_of_day = Maybe(source="understood.time_of_day")
    spellings = serializers.SerializerMethodField()
    as_spelt = YesNo(source="understood.as_spelt")

    @extend_schema_field(SpellingIn(many=True))
    def get_spellings(self, row: SheetMapping) -> list[dict[str, str]]:
        """As they are sent."""
        return [{"seen": seen, "meant": meant} for seen, meant in row.understood["spellings"].items()]


class MappingListEndpoint(Endpoint):
    @read("mappings_list", MappingOut, query=PageQuery, is_page=True, scope=(Scope.READ, Scope.IMPORT))
    def get(self, call: Call) -> Page:
        """How sheets are read, by name, for administrators."""
        return call.page(mappings.mappings(call.actor.person), "name", "id")

    @create("mappings_keep", MappingOut, MappingIn, status=200, scope=Scope.IMPORT)
    def post(self, call: Call) -> SheetMapping:
        """Keep by a name how a kind of sheet is read, in place of what was kept by that name, for administrators."""
        sent: dict[str, Any] = {name: "" if value is None else value for name, value in call.payload.items()}
        name, spellings = sent.pop("name"), {each["seen"]: each["meant"] for each in sent.pop("spellings")}
        before = mappings.mappings(call.actor.person).filter(name=name).first()
        return mappings.keep(name=name, understood=Understanding(**sent, spellings=spellings),
                             used=before.pk if before else None, actor=call.actor, at=call.at)  # fmt: skip


class MappingEndEndpoint(Endpoint):
    @create("mappings_end", MappingOut, status=200, scope=Scope.IMPORT)
    def post(self, call: Call, mapping_id: int) -> SheetMapping:
        """Delete a mapping, for administrators: no sheet is read by it any more, and its name is free."""
        return mappings.end(mappings.of(mapping_id, call.actor.person), actor=call.actor, at=call.at)
