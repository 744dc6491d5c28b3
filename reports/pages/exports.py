"""Documents to choose from and to take along: a few as they are sent, many put together by the worker first."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from reels.access import readable_sites, reel_types
from reels.errors import NotFound
from reels.models import Person, TaskRun
from reels.pages.acts import ActForm
from reels.pages.answers import page, reader, show
from reels.pages.plain import PlainForm
from reels.pages.tasks import HaveDoneView
from reports import access
from reports.services import export_task
from reports.services.exporting import export_size, filter_documents, stream_export

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class Choice(PlainForm):
    """Which documents go into a bundle: of counts done from one day on, and before another."""

    site = forms.SlugField(label="Site", required=False)
    reel = forms.CharField(label="Reel", required=False, max_length=40)
    since = forms.DateTimeField(label="Counted from", required=False, widget=DAY)
    until = forms.DateTimeField(label="Counted before", required=False, widget=DAY)


def offer_sites(form: forms.Form, person: Person, at: datetime) -> QuerySet[Any]:
    """Have the site chosen among those that the person may read; their codes and names."""
    sites = readable_sites(person, at).values_list("code", "name")
    form.fields["site"].widget = forms.Select(choices=[("", "every site"), *sites])
    return sites


@page
def documents(request: HttpRequest) -> HttpResponse:
    """Which documents there are, to choose from and to take along; how many they are and how large."""
    choice, at, person = Choice(request.GET, auto_id="filter-%s"), timezone.now(), reader(request)
    sites = offer_sites(choice, person, at)
    extent = (
        export_size(filter_documents(access.readable_documents(person, at), **choice.cleaned_data), at=at)
        if choice.is_valid()
        else None
    )
    kept = {name: value for name, value in request.GET.items() if name in choice.fields and value}
    about = {"form": choice, "extent": extent, "download": urlencode(kept), "types": list(reel_types()), "sites": sites}
    return show(request, "reports/documents.html", {**about, "section": "documents"})


@never_cache
@require_safe
def bundle(request: HttpRequest) -> HttpResponseBase:
    """The documents that were chosen, as a ZIP file with a manifest; many are first put together by the worker."""
    choice, at = Choice(request.GET), timezone.now()
    if not choice.is_valid():
        return HttpResponse(choice.errors.as_text(), status=400, content_type="text/plain; charset=utf-8")
    rows = filter_documents(access.readable_documents(reader(request), at), **choice.cleaned_data)
    extent = export_size(rows, at=at)
    if extent.documents > export_task.MOST_AT_ONCE:
        return HttpResponseRedirect(f"{reverse('export')}?{request.GET.urlencode()}")
    return zip_answer(stream_export(rows, at=at), extent.size)


@never_cache
@require_safe
def fetch(request: HttpRequest, task: UUID) -> HttpResponseBase:
    """What the worker has put together for whoever asks."""
    try:
        return zip_answer(*export_task.fetch(task, reader(request)))
    except NotFound as refused:
        raise Http404(str(refused)) from refused


def zip_answer(pieces: Iterator[bytes], size: int | None, *, name: str = export_task.ZIP) -> StreamingHttpResponse:
    """The file; its length is told first, if it is known."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    if size:
        headers["Content-Length"] = str(size)
    return StreamingHttpResponse(pieces, content_type="application/zip", headers=headers)


class ExportForm(ActForm):
    """The same choice as on the page of documents."""


ExportForm.base_fields = {**Choice.base_fields, **ExportForm.base_fields}


class ExportView(HaveDoneView):
    form_class = ExportForm
    before = "documents-page"
    title, button = "Many records in one file", "Have them put together"
    says = (
        "A worker puts the newest document of each inspection that you may see into a ZIP file with a manifest. It is "
        "there for two days, for you alone."
    )

    def form_options(self) -> dict[str, Any]:
        return {"initial": {name: self.request.GET.get(name, "") for name in Choice.base_fields}}

    def form(self, data: QueryDict | None = None, files: MultiValueDict[str, Any] | None = None) -> ActForm:
        form = super().form(data, files)
        offer_sites(form, self.person, self.at)
        return form

    def put(self, data: dict[str, Any]) -> TaskRun:
        return export_task.have_exported(data, actor=self.actor, at=self.at)

    def context(self) -> dict[str, Any]:
        return {"section": "documents"}
