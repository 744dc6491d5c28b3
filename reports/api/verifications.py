"""The check of all records over the API: asked for, and how it came out."""

from rest_framework import serializers

from reels.access import only_administrators
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.fields import Moment, Text
from reels.api.forms import Out, PageQuery
from reels.api.paging import Page
from reels.api.serializers import NotYetOut
from reels.errors import NotYet
from reports.services import verification_runs


class VerificationOut(Out):
    at = Moment()
    chains = serializers.IntegerField(help_text="Replayed, or known again as they were when they were replayed.")
    replayed = serializers.IntegerField()
    nights = serializers.IntegerField(help_text="Within how many nights all are replayed; 1: all were.")
    entries = serializers.IntegerField()
    signatures = serializers.IntegerField()
    first_break = Text(help_text="Empty: whole.")


class VerificationListEndpoint(Endpoint):
    @read("verifications_list", VerificationOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """How each check of all records came out, the newest first; for administrators."""
        only_administrators(call.actor.person)
        return call.page(verification_runs.runs(), "-at", "-id")

    @create("verifications_ask", NotYetOut, status=202)
    def post(self, call: Call) -> NotYet:
        """Have all records checked, for administrators. `result` of the task says how it came out."""
        run = verification_runs.have_checked(actor=call.actor)
        return NotYet(run, at=f"/api/v1/tasks/{run.pk}")
