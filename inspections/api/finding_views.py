"""Findings: what a type's reels are looked over for, what was found, and what was decided; how many of each kind."""

from dataclasses import replace
from typing import Any

from rest_framework import serializers

from inspections import access
from inspections.access import releasing
from inspections.api.finding_serializers import (
    FindingCountOut,
    FindingIn,
    FindingKindIn,
    FindingKindOut,
    FindingKindsQuery,
    FindingOut,
    FindingsQuery,
    RemedyIn,
)
from inspections.domain.act_fields import FindingFields
from inspections.domain.findings import Remedy
from inspections.models import Finding, FindingKind
from inspections.queries.findings import SeenFinding, counts_by_kind, seen_by, with_photos
from inspections.services import findings
from reels import access as reel_access
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.forms import Out, Query
from reels.api.paging import Page
from reels.api.serializers import ReasonIn
from reels.domain.words import Scope
from reels.queries import matching


def _seen(finding: Finding, call: Call) -> SeenFinding:
    """A finding as it stands now, as the caller may see it."""
    person = call.actor.person
    rows = with_photos(access.readable_findings(person, call.at)).filter(pk=finding.pk)
    [seen] = seen_by(rows, person, releasing(person, call.at))
    return seen


# What is looked for --------------------------------------------------------------------------------------------------


class FindingKindListEndpoint(Endpoint):
    @read("finding_kinds_list", FindingKindOut, query=FindingKindsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """What the reels of each type are looked over for. `other` is every type's, and always a stop."""
        rows = matching(access.finding_kinds(), call.query, reel_type="reel_type__code", part="part")
        return call.page(rows, "id")

    @create("finding_kinds_add", FindingKindOut, FindingKindIn)
    def post(self, call: Call) -> FindingKind:
        """A kind that the reels of a type are looked over for from now on, for administrators."""
        reel_access.only_administrators(call.actor.person)
        reel_type = reel_access.reel_type(call.payload.pop("reel_type"))
        return findings.add_kind(reel_type=reel_type, actor=call.actor, at=call.at, **call.payload)


# What was found ------------------------------------------------------------------------------------------------------


class FindingListEndpoint(Endpoint):
    @read("findings_list", FindingOut, query=FindingsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The findings on the reels at one's sites, the newest first."""
        person = call.actor.person
        rows = matching(
            access.readable_findings(person, call.at), call.query, reel="reel__serial", reel_type="reel__type__code",
            part="part", kind="kind", severity="severity", inspection="inspection",
        )  # fmt: skip
        if is_open := call.query.get("open"):
            rows = rows.filter(closed_at__isnull=is_open == "yes")
        page = call.page(with_photos(rows), "-id")
        return replace(page, results=seen_by(page.results, person, releasing(person, call.at)))


class FindingDetailEndpoint(Endpoint):
    @read("findings_show", FindingOut)
    def get(self, call: Call, finding_id: int) -> SeenFinding:
        """One finding. Where it lies is null while that may tell somebody what to read."""
        return _seen(access.finding_for_read(finding_id, call.actor.person, call.at), call)


class ReelFindingEndpoint(Endpoint):
    @create("reels_record_finding", FindingOut, FindingIn, scope=Scope.READINGS)
    def post(self, call: Call, serial: str) -> SeenFinding:
        """Record what is not sound about a reel, at the count that is under way if one is. A stop holds the reel."""
        return _recorded(serial, call)


class CountFindingEndpoint(Endpoint):
    @create("inspections_record_finding", FindingOut, FindingIn, scope=Scope.READINGS)
    def post(self, call: Call, inspection_id: int) -> SeenFinding:
        """The same, of the reel of a count, whose serial is perhaps still to be read."""
        inspection = access.inspection_for_read(inspection_id, call.actor.person, call.at)
        return _recorded(inspection.reel.serial, call)


def _recorded(serial: str, call: Call) -> SeenFinding:
    facts = FindingFields(**call.payload)
    return _seen(findings.record_finding(serial=serial, facts=facts, actor=call.actor, at=call.at), call)


class FindingLoweringEndpoint(Endpoint):
    @create("findings_lower", FindingOut, ReasonIn, status=200)
    def post(self, call: Call, finding_id: int) -> SeenFinding:
        """Make a stop a watch; the count that it froze goes on."""
        lowered = findings.lower_finding(finding_id=finding_id, actor=call.actor, at=call.at, **call.payload)
        return _seen(lowered, call)


class FindingClosingEndpoint(Endpoint):
    @create("findings_close", FindingOut, RemedyIn, status=200)
    def post(self, call: Call, finding_id: int) -> SeenFinding:
        """Close a finding. By work on the cable, the count under way ends, and none from before holds any more."""
        closed = findings.close_finding(
            finding_id=finding_id, remedy=Remedy(call.payload["remedy"]), reason=call.payload["reason"],
            actor=call.actor, at=call.at,
        )  # fmt: skip
        return _seen(closed, call)


# How many ------------------------------------------------------------------------------------------------------------


class FindingCountsQuery(Query):
    site = serializers.CharField(required=False, max_length=30)
    reel_type = serializers.CharField(required=False, max_length=30)


class FindingCountsOut(Out):
    results = FindingCountOut(many=True)


class FindingCountsEndpoint(Endpoint):
    @read("findings_count", FindingCountsOut, query=FindingCountsQuery)
    def get(self, call: Call) -> dict[str, Any]:
        """How many findings of each kind there are on the reels of each type, at one's sites."""
        numbers = access.finding_numbers(call.actor.person, call.at)
        numbers = matching(numbers, call.query, site="site__code", reel_type="type__code")
        return {"results": counts_by_kind(numbers)}
