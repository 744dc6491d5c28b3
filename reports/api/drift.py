"""The drift report over the API: the fleet's, as it streams; one reel's; and what becomes of its flags."""

import json
from collections.abc import Iterator
from typing import Any

from django.http import StreamingHttpResponse

from inspections import access
from inspections.domain.drift import Ending
from inspections.models import DriftFlag
from inspections.services import flags
from reels import access as reel_access
from reels.api.endpoints import JSON, Call, Endpoint, create, read, read_file, tag_of
from reels.api.paging import Page
from reports.api import drift_serializers as shapes
from reports.domain.drift_rows import COLUMNS, as_written, end_of, moment
from reports.domain.written import csv_lines
from reports.services import assessments, drift_evidence, drift_report, self_check
from reports.services.assessments import FleetStanding
from reports.services.drift_report import DriftReport

CSV = "text/csv"


class FleetDriftEndpoint(Endpoint):
    @read_file("drift_report", CSV, answer=shapes.DriftReportOut, query=shapes.DriftQuery, may_be_stale=True,
               refuses=(409,))  # fmt: skip
    def get(self, call: Call) -> StreamingHttpResponse:
        """How probable an unlogged cut is between every two neighbouring counts, the most probable first.

        The reels are those of one's sites; flags are chosen over the whole fleet, so that at most 5 % of them, or the
        share asked for, are expected to be false.
        """
        query = call.query
        reels = drift_report.reels_of(reel_access.readable_reels(call.actor.person, call.at), query)
        as_of = query.get("as_of")
        chosen = {"least_p": query["least_probability"], "false_share": query["false_share"]}
        if as_of:
            report, standing = drift_report.kept_report_as_of(reels, end_of(as_of), **chosen), FleetStanding()
        else:
            standing = assessments.fleet_standing()
            report = drift_report.report_of(reels, **chosen)
        if query.get("format", call.request.accepted_renderer.format) == "csv":
            return StreamingHttpResponse(_csv_lines(report), content_type=CSV, headers=_behind(standing))
        checked = None if as_of else self_check.newest_in_words()
        kept = checked and shapes.SelfCheckOut(checked).data
        head = {"as_of": as_of and as_of.isoformat(), "self_check": kept, **shapes.StandingOut(standing).data}
        return StreamingHttpResponse(_json_pieces(head, report), content_type=JSON)


def _behind(standing: FleetStanding) -> dict[str, str]:
    since = {"Behind-Since": moment(standing.since)} if standing.since else {}
    return {"Reels-Behind": str(standing.behind), **since}


def _csv_lines(report: DriftReport) -> Iterator[str]:
    return csv_lines(COLUMNS, (as_written(row, report.flag_at).values() for row in report.rows))


def _json_pieces(head: dict[str, Any], report: DriftReport) -> Iterator[str]:
    yield json.dumps(head)[:-1] + ', "results": ['
    separator, shape = "", shapes.IntervalOut.shared()
    for row in report.rows:
        flagged = {"flagged": "yes" if row.p_unlogged_cut >= report.flag_at else "no"}
        values = {name: getattr(row, name, None) for name in COLUMNS} | flagged
        yield separator + json.dumps(shape.to_representation(values))
        separator = ", "
    yield "]}"


class ReelDriftEndpoint(Endpoint):
    @read("reels_drift", shapes.ReelDriftOut)
    def get(self, call: Call, serial: str) -> dict[str, Any]:
        """What is believed of a reel: every interval between two counts, every count, and what became of its flags."""
        reel = reel_access.reel_for_read(serial, call.actor.person, call.at)
        assessments.bring_reel_up_to_date(reel, at=call.at)
        return drift_evidence.drift_of(reel, at=call.at)


class FlagListEndpoint(Endpoint):
    @read("drift_flags_list", shapes.FlagOut, query=shapes.FlagsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Flags at one's sites that somebody looks into or has closed."""
        readable = access.readable_flags(call.actor.person, call.at)
        return call.page(drift_report.flags_matching(readable, call.query), "id")

    @create("drift_flags_assign", shapes.FlagOut, shapes.FlagIn, tag=tag_of)
    def post(self, call: Call) -> DriftFlag:
        """Have somebody look into the interval between two counts."""
        payload = call.payload
        reel = reel_access.reel_for_read(payload["reel"], call.actor.person, call.at)
        interval = drift_report.flagged_interval(reel, payload["from_at"], payload["to_at"])
        to = reel_access.person_named(payload["assigned_to"])
        return flags.assign_flag(serial=reel.serial, interval=interval, to=to, actor=call.actor, at=call.at)


class FlagAssignmentEndpoint(Endpoint):
    @create("drift_flags_reassign", shapes.FlagOut, shapes.AssigneeIn, status=200, tag=tag_of)
    def post(self, call: Call, flag_id: int) -> DriftFlag:
        """Have somebody else look into it."""
        to = reel_access.person_named(call.payload["assigned_to"])
        return flags.reassign_flag(flag_id=flag_id, to=to, actor=call.actor, at=call.at)


class FlagFindingEndpoint(Endpoint):
    @create("drift_flags_look_into", shapes.FlagOut, shapes.FindingIn, status=200, tag=tag_of)
    def post(self, call: Call, flag_id: int) -> DriftFlag:
        """Write down what was found."""
        return flags.look_into_flag(flag_id=flag_id, finding=call.payload["finding"], actor=call.actor, at=call.at)


class FlagEndingEndpoint(Endpoint):
    @create("drift_flags_close", shapes.FlagOut, shapes.EndingIn, status=200, tag=tag_of)
    def post(self, call: Call, flag_id: int) -> DriftFlag:
        """Close a flag: late-logged cut, miscount, confirmed loss or unexplained, and why; evidence from then on."""
        ending, reason = Ending(call.payload["ending"]), call.payload["reason"]
        return flags.close_flag(flag_id=flag_id, ending=ending, reason=reason, actor=call.actor, at=call.at)
