"""Repeatability over the API: the figures of the page, under the names that the reader may see."""

from typing import Any

from reels.api.endpoints import Call, Endpoint, read
from reports.api import agreement_serializers as shapes
from reports.domain.agreement import Comparison, Table
from reports.domain.agreement.words import verdict_in_words
from reports.services import agreement
from reports.services.agreement import AgreementScope


class AgreementEndpoint(Endpoint):
    @read("agreement_report", shapes.AgreementOut, query=shapes.AgreementQuery, may_be_stale=True)
    def get(self, call: Call) -> dict[str, Any]:
        """How well two methods, or two people, agree before anything is read again. It is not for ranking people."""
        asked = {name: value for name, value in call.query.items() if name != "compare"}
        scope = AgreementScope(comparison=Comparison(call.query["compare"]), **asked)
        report = agreement.agreement_report(scope, call.actor.person, call.at)
        figures = report.agreement
        return {
            "compare": figures.comparison, "is_cut_off": report.is_cut_off, "all": figures, "points": figures.points,
            "groups": [row for table in figures.tables for row in _rows(table)],
            "unnamed": [
                {"group_by": table.grouping, "people": table.unnamed, "standing_out": table.unnamed_standing_out}
                for table in figures.tables if table.unnamed
            ],
        }  # fmt: skip


def _rows(table: Table) -> list[dict[str, Any]]:
    return [
        {"group_by": table.grouping, "group": row.name, "figures": row, "stands_out": row.stands_out,
         "adjusted_p_equal": row.by_share.adjusted_p, "adjusted_p_bias": row.by_bias.adjusted_p,
         "standing": verdict_in_words(row)}
        for row in table.rows
    ]  # fmt: skip
