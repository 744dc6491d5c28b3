"""The check of all records, asked for by an administrator."""

from typing import Any

from django.urls import reverse

from reels import access
from reels.pages.acts import ActView
from reports.services import verification_runs


class VerificationView(ActView):
    template_name = "reels/form.html"
    title, button = "Check all records", "Check them"
    says = (
        "A worker works out every history, row, signature and document again from its stored bytes. That takes minutes "
        "for large fleets; people go on working meanwhile."
    )
    task = ""

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def do(self, data: dict[str, Any]) -> None:
        self.task = reverse("task", args=[verification_runs.have_checked(actor=self.actor).pk])

    def done_at(self) -> str:
        return self.task or reverse("audit")

    def context(self) -> dict[str, Any]:
        return {"section": "audit"}
