"""Readiness rules: what a site asks of somebody's practice before they are authorised there for an act."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from inspections import access
from inspections.domain.act_fields import ACTS, ReadinessRuleFields
from inspections.domain.practice import Difficulty, ReadinessRule
from inspections.domain.words import Act
from inspections.models import ReadinessAsked
from inspections.services import authorisations
from reels import access as reel_access
from reels.models import columns
from reels.pages.act_fields import form_of
from reels.pages.acts import ActView, ChangeView
from reels.pages.answers import page, show

ASKED = ("in_a_row", "within_days", "least")
AT_LEAST_ONE: dict[str, Any] = {"min_value": 1, "max_value": 32767}
NUMBERS: dict[str, Any] = {"in_a_row": AT_LEAST_ONE, "within_days": AT_LEAST_ONE}
RuleAddForm = form_of(ReadinessRuleFields, "site", "act", *ASKED, **NUMBERS)
RuleChangeForm = form_of(ReadinessRuleFields, *ASKED, "is_asked", **NUMBERS)


@page
def rules(request: HttpRequest) -> HttpResponse:
    """Every rule, those that are no longer asked for too."""
    rows = [{"row": each, "verb": Act(each.act).verb} for each in access.readiness_rules()]
    return show(request, "inspections/practice/rules.html", {"rules": rows, "section": "practice"})


class RuleWriteView(ActView):
    """An administrator's act that sets a rule or changes it."""

    template_name = "reels/form.html"

    def find(self, **path: Any) -> None:
        reel_access.only_administrators(self.person)

    def done_at(self) -> str:
        return reverse("readiness-rules")

    def context(self) -> dict[str, Any]:
        return {"section": "practice"}


class RuleAddView(RuleWriteView):
    form_class = RuleAddForm
    title, button = "Set a readiness rule", "Set it"
    says = (
        "Nobody is authorised for the act at the site from then on who has not practised so. Who is authorised already "
        "stays so."
    )

    def form_options(self) -> dict[str, Any]:
        initial = {name: getattr(ReadinessRule(), name) for name in ASKED}
        sites = reel_access.sites().values_list("code", "name")
        return {"offered": {"site": ("choose", sites), "act": ("choose", ACTS)}, "initial": initial}

    def do(self, data: dict[str, Any]) -> None:
        rule = ReadinessRule(
            in_a_row=data["in_a_row"], within_days=data["within_days"], least=Difficulty(data["least"])
        )
        asked = authorisations.ask_readiness(
            site=reel_access.site(data["site"]), act=Act(data["act"]), rule=rule, actor=self.actor, at=self.at
        )
        self.message = f"Asked for: {asked}."


class RuleChangeView(ChangeView, RuleWriteView):
    form_class = RuleChangeForm
    button = "Change it"
    says = "It counts for who is authorised from now on. What it was stays in the register's history."
    subject: ReadinessAsked

    def find(self, rule_id: int) -> None:  # type: ignore[override]  # the address names the rule
        super().find()
        self.subject = access.readiness_rule(rule_id)

    @property
    def title(self) -> str:
        return f"Change what {self.subject.site.name} asks for before somebody may {Act(self.subject.act).verb}"

    def form_options(self) -> dict[str, Any]:
        return {"initial": {name: getattr(self.subject, name) for name in (*ASKED, "is_asked")}}

    def looked_at(self) -> Any:
        return columns(access.readiness_rule(self.subject.pk))
