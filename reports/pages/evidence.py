"""Evidence for somebody outside, asked for by auditors and administrators."""

import re
from typing import Any
from uuid import UUID

from django import forms
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from reels.errors import NotAllowed, NotFound
from reels.models import TaskRun
from reels.pages.acts import ActForm
from reels.pages.answers import reader
from reels.pages.tasks import HaveDoneView
from reports import access
from reports.pages.exports import zip_answer
from reports.services import evidence_task


class EvidenceForm(ActForm):
    reels = forms.CharField(
        label="Reels", required=False, max_length=10_000, widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Serials, one a line. Empty: every reel that you may see.",
    )  # fmt: skip
    since = forms.IntegerField(
        label="Since the checkpoint over so many entries", required=False, min_value=1, max_value=10**18,
        help_text="If whoever gets it keeps an earlier checkpoint: the number in its line “entries”.",
    )  # fmt: skip


class EvidenceView(HaveDoneView):
    template_name = "reports/evidence.html"
    form_class = EvidenceForm
    before = "audit"
    title, button = "Evidence for somebody outside", "Have it put together"

    def find(self, **path: Any) -> None:
        access.require_auditor(self.person, self.at)

    def put(self, data: dict[str, Any]) -> TaskRun:
        serials = [line.strip() for line in re.split(r"[\n,]", data["reels"]) if line.strip()]
        return evidence_task.have_evidence(
            reels=list(dict.fromkeys(serials)), since=data["since"], actor=self.actor, at=self.at
        )

    def context(self) -> dict[str, Any]:
        return {"section": "audit"}


@never_cache
@require_safe
def fetch(request: HttpRequest, task: UUID) -> HttpResponseBase:
    """What the worker has put together for whoever asks."""
    try:
        return zip_answer(*evidence_task.fetch(task, reader(request), timezone.now()), name="evidence.zip")
    except (NotFound, NotAllowed) as refused:
        raise Http404(str(refused)) from refused
