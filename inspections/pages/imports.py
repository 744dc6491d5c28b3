"""Older records brought in from CSV files, by an administrator: the worker's, told at its task."""

from typing import Any

from django import forms

from inspections.services.intake import FILES, task
from reels import access
from reels.models import TaskRun
from reels.pages.acts import ActForm
from reels.pages.tasks import HaveDoneView

_KEYS = {file: file.replace(".", "_") for file in FILES}
DONE = (("", "everything is checked, then stored"), ("on", "everything is checked, and nothing stored"))
CSV = {"accept": ".csv,text/csv"}


class ImportForm(ActForm):
    """A file for each kind of record; any may be left out, not all."""

    is_dry_run = forms.ChoiceField(label="What is done", required=False, choices=DONE)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        files = {
            key: forms.FileField(label=file, required=False, widget=forms.ClearableFileInput(attrs=CSV))
            for file, key in _KEYS.items()
        }
        self.fields = {**files, **self.fields}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and not any(data.get(key) for key in _KEYS.values()):
            raise forms.ValidationError("No file is chosen; at least one is needed.")
        return data


class ImportView(HaveDoneView):
    form_class = ImportForm
    before = "tasks"
    title, button = "Bring older records in", "Bring them in"
    says = (
        "CSV files as the guide to operations describes them; what a spreadsheet saved has a page of its own. Either "
        "everything is stored or nothing; each row that cannot be taken is named by file and line. The same files "
        "brought in again store nothing again."
    )

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def put(self, data: dict[str, Any]) -> TaskRun:
        files = {file: data[key].read() for file, key in _KEYS.items() if data.get(key)}
        return task.have_imported(files, actor=self.actor, is_dry_run=data["is_dry_run"] == "on")

    def context(self) -> dict[str, Any]:
        return {"section": "people"}
