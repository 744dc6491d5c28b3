"""The monthly report over the API."""

from datetime import date
from typing import Any

from rest_framework import serializers

from inspections.domain.drift.records import Ending
from inspections.domain.findings import ReelPart, Severity
from inspections.domain.words import Act, ReelStatus
from reels import access
from reels.api.endpoints import Call, Endpoint, read
from reels.api.fields import Day, Exact, Metres, Moment, Text, Word
from reels.api.forms import Out, Query
from reels.api.serializers import Awaited
from reports.domain.monthly import FIRST, LAST, StandingAt, period_asked_for, together
from reports.services import monthly
from reports.services.monthly import MonthlyReport


class MonthlyQuery(Query):
    site = serializers.CharField(required=False, max_length=30)
    since = Day(required=False, help_text="By the site's clocks; of several sites, UTC. Neither: the last whole month.")
    until = Day(required=False, help_text="That day too. Left out: the end of the month of `since`.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        days: dict[str, date] = {name: attrs[name] for name in ("since", "until") if name in attrs}
        for name, day in days.items():
            if not FIRST <= day <= LAST:
                raise serializers.ValidationError({name: f"Days from {FIRST} to {LAST} are looked at, not {day}."})
        if len(days) == 2 and days["until"] < days["since"]:
            words = f"The period begins on {days['since']}, so it ends then or later, not on {days['until']}."
            raise serializers.ValidationError({"until": words})
        return attrs


class StatusNumberOut(Out):
    status = Word(ReelStatus)
    reels = serializers.IntegerField()


class StandingAtOut(Out):
    at = Moment()
    count_due = serializers.IntegerField(source="due")
    by_status = StatusNumberOut(many=True)


class CountsMadeOut(Out):
    """Counts done in the period, and referrals made in it."""

    signed = serializers.IntegerField(help_text="And still valid.")
    from_paper = serializers.IntegerField(help_text="Of those.")
    brought_in = serializers.IntegerField(help_text="From older records.")
    voided = serializers.IntegerField()
    cancelled = serializers.IntegerField()
    rereads = serializers.IntegerField(help_text="Readings that had to be read again.")
    reread = serializers.IntegerField(help_text="Counts with one or more of these.")
    referred = serializers.IntegerField()
    released_to_read = serializers.IntegerField()
    released_as_proposed = serializers.IntegerField()


class ValuesMovedOut(Out):
    issued = serializers.IntegerField()
    confirmed = serializers.IntegerField()
    withdrawn = serializers.IntegerField()


class FindingsOfKindOut(Out):
    part = Word(ReelPart)
    kind = Text(help_text="What people call it.")
    severity = Word(Severity)
    recorded = serializers.IntegerField()
    closed = serializers.IntegerField()
    still_open = serializers.IntegerField(help_text="At the end, whenever they were recorded.")


class EndingNumberOut(Out):
    ending = Word(Ending)
    flags = serializers.IntegerField()


class FlagsEndedOut(Out):
    raised = serializers.IntegerField()
    closed = EndingNumberOut(many=True)
    still_open = serializers.IntegerField()


class LossOut(Out):
    """Metres that are missing by inference, with a 90 % interval."""

    metres = Metres()
    low_m = Metres()
    high_m = Metres()


class InferredLossOut(Out):
    """A flagged interval whose later count was done in the period."""

    reel = Text()
    from_at = Moment()
    to_at = Moment()
    cut_m = Metres()
    low_m = Metres()
    high_m = Metres()


class CableLostOut(Out):
    cuts = serializers.IntegerField(help_text="Logged, by when they were made, and not taken back.")
    cut_m = Exact()
    replaced = serializers.IntegerField(help_text="Cables.")
    assessed_at = Moment(allow_null=True, help_text="When the fleet was last; null: not assessed.")
    inferred = LossOut(allow_null=True, help_text="Together; null: not assessed.")
    intervals = InferredLossOut(many=True)


class HeldOut(Out):
    what = Text(help_text="The reel, or `machine` and its serial.")
    since = Moment()
    until = Moment(allow_null=True)
    days = serializers.FloatField(help_text="In the period.")
    reason = Text()


class EndsOut(Out):
    person = Text()
    act = Word(Act)
    reel_type = Text(allow_null=True, help_text="null: every one.")
    site = Text(allow_null=True, help_text="Its name; null: every one.")
    at = Moment()
    is_early = serializers.BooleanField(help_text="Whether somebody ended it.")


class MonthlyOut(Awaited):
    since = Day(source="period.since")
    until = Day(source="period.until")
    sites = serializers.ListField(child=Text(), help_text="Codes of the sites it is about.")
    made_at = Moment(help_text="When the figures were worked out.")
    reels_at_end = StandingAtOut()
    reels_now = StandingAtOut()
    counts = CountsMadeOut(source="figures.counts")
    setup_values = ValuesMovedOut(source="figures.values")
    findings = FindingsOfKindOut(many=True, source="figures.findings")
    flags = FlagsEndedOut()
    cable = CableLostOut()
    holds = HeldOut(many=True, source="figures.holds", help_text="The longest in the period first.")
    authorisations_that_end = EndsOut(many=True, source="ends", help_text="In the period or the next.")


class MonthlyEndpoint(Endpoint):
    @read("monthly_report", MonthlyOut, query=MonthlyQuery, may_be_stale=True, refuses=(409,))
    def get(self, call: Call) -> dict[str, Any]:
        """What is added up of a month, or of any period, at one site or at all of one's own.

        Names of people whose authorisation ends are given to who verifies, releases or maintains there.
        """
        person, asked = call.actor.person, call.query
        sites = [each for each in access.readable_sites(person, call.at) if each.code == asked.get("site", each.code)]
        today = call.at.astimezone(monthly.clock_of(sites)).date()
        period = period_asked_for(asked.get("since"), asked.get("until"), today)
        return _shown(monthly.monthly_report(period, sites, person, call.at))


def _shown(report: MonthlyReport) -> dict[str, Any]:
    figures = report.figures
    flags, lost = figures.flags, figures.lost
    value, low, high = together(lost.inferred or ())
    together_m = None if lost.inferred is None else {"metres": value, "low_m": low, "high_m": high}
    closed = [{"ending": ending, "flags": number} for ending, number in flags.closed.items()]
    return {
        "period": report.period, "sites": [site.code for site in report.sites], "made_at": report.made_at,
        "figures": figures, "ends": report.ends,
        "reels_at_end": _standing(figures.at_end), "reels_now": _standing(figures.now),
        "flags": {"raised": flags.raised, "closed": closed, "still_open": flags.still_open},
        "cable": {
            "cuts": lost.cuts, "cut_m": lost.cut_m, "replaced": lost.replaced, "assessed_at": lost.assessed_at,
            "inferred": together_m, "intervals": lost.inferred or (),
        },
    }  # fmt: skip


def _standing(standing: StandingAt) -> dict[str, Any]:
    by_status = [{"status": status, "reels": number} for status, number in standing.reels.items()]
    return {"at": standing.at, "due": standing.due, "by_status": by_status}
