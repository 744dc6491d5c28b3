"""The check of all records, asked for by an administrator."""

from typing import Any

from reels import access
from reels.models import TaskRun
from reels.pages.tasks import HaveDoneView
from reports.services import verification_runs


class VerificationView(HaveDoneView):
    before = "audit"
    title, button = "Check all records", "Check them"
    says = (
        "A worker works out every history, row, signature and document again from its stored bytes. That takes minutes "
        "for large fleets; people go on working meanwhile."
    )

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def put(self, data: dict[str, Any]) -> TaskRun:
        return verification_runs.have_checked(actor=self.actor)

    def context(self) -> dict[str, Any]:
        return {"section": "audit"}
