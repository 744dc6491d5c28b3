"""Reel types and their rules: where each is written, what follows from it, and who confirmed it."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from reels import access
from reels.domain.act_fields import RuleSourceFields
from reels.domain.life import limits_of_type
from reels.domain.reel_figures import DrawnCount, drum_of, reel_section, reference_view
from reels.domain.type_rules import RULE_NAMES, TypeRule, rules_in_words, source_in_words, without_source
from reels.domain.words import counted
from reels.models import Person, ReelType, columns
from reels.pages.act_fields import form_of
from reels.pages.acts import ActForm, ComparedView
from reels.pages.answers import page, reader, show
from reels.pages.figures import drawn
from reels.queries import publications_in_force
from reels.services import register

FULL_LAYERS, WRAPS = 2, 5  # of the drawing; it is of no reel


@page
def reel_types(request: HttpRequest) -> HttpResponse:
    """Every reel type, and whether its rules are confirmed."""
    return show(request, "reels/types.html", {"types": list(access.reel_types()), "section": "documents"})


@page
def reel_type(request: HttpRequest, code: str) -> HttpResponse:
    """A reel type's rules with their sources, and its two drawings."""
    shown = rules_shown(access.reel_type(code), reader(request))
    return show(request, "reels/type.html", {**shown, "section": "documents"})


def rules_shown(row: ReelType, person: Person) -> dict[str, Any]:
    """What a page shows of a type's rules."""
    values, sources, drum = rules_in_words(vars(row)), row.rule_sources, drum_of(vars(row), row.reference_side)
    layers = min(FULL_LAYERS, drum.max_layers - 1)
    count = DrawnCount(layers=layers, wraps=min(WRAPS, drum.capacity(layers + 1) - 1))
    return {
        "type": row,
        "rules": [
            {"name": RULE_NAMES[rule], "value": values[rule],
             "source": source_in_words(sources[rule]) if rule in sources else ""}
            for rule in TypeRule
        ],
        "limits": [*_lapses(row), *limits_of_type(vars(row))],
        "halves": drum.half_words, "is_sourced": not without_source(sources),
        "may_confirm": person.pk not in row.rules_written_by,
        "figures": [drawn(reel_section(drum, count, width=300, height=160), "section"),
                    drawn(reference_view(drum), "circle")],
    }  # fmt: skip


def _lapses(row: ReelType) -> list[tuple[str, str]]:
    """By what a count of the type lapses, beside events."""
    by = [counted(number, unit) for number, unit in ((row.count_days, "day"), (row.count_uses, "use")) if number]
    return [("A count lapses after", " or ".join(by))] if by else []


class TypeActView(ComparedView):
    """An act of an administrator's on a type's rules."""

    template_name = "reels/type_act.html"
    subject: ReelType

    def find(self, code: str) -> None:  # type: ignore[override]  # the address names the type
        access.only_administrators(self.person)
        self.subject = access.reel_type(code)

    def done_at(self) -> str:
        return reverse("reel-type", args=[self.subject.code])

    def looked_at(self) -> Any:
        return columns(access.reel_type(self.subject.code))

    def context(self) -> dict[str, Any]:
        return {**rules_shown(self.subject, self.person), "section": "documents"}


class RuleSourcesView(TypeActView):
    """Name the paragraphs of a publication that say rules of the type."""

    form_class = form_of(RuleSourceFields)
    button = "Name these paragraphs"
    says = (
        "A rule whose paragraph is left empty keeps the source that it has. The rules have to be confirmed after this, "
        "by another administrator."
    )

    @property
    def title(self) -> str:
        return f"Where the rules of {self.subject.code} are written"

    def form_options(self) -> dict[str, Any]:
        newest = publications_in_force(self.subject, self.at).order_by("valid_from", "id").last()
        return {"initial": {"publication": newest.code, "revision": newest.revision} if newest else {}}

    def do(self, data: dict[str, Any]) -> None:
        publication, revision = data.pop("publication"), data.pop("revision")
        register.source_rules(
            self.subject, publication=publication, revision=revision,
            paragraphs={TypeRule(rule): text for rule, text in data.items()}, actor=self.actor, at=self.at,
        )  # fmt: skip
        self.message = f"Kept for type {self.subject.code}. Another administrator confirms the rules now."


class RuleConfirmationView(TypeActView):
    """Confirm the rules of the type, having compared each with its paragraph and with the drawings."""

    form_class = ActForm
    button = "I have compared each rule with its paragraph: confirm"
    says = (
        "Compare each rule with the paragraph that says it, and both drawings with a reel as it sits in its machine. "
        "Counts of this type can be signed from then on."
    )

    @property
    def title(self) -> str:
        return f"Confirm the rules of {self.subject.code}"

    def do(self, data: dict[str, Any]) -> None:
        register.confirm_rules(self.subject, actor=self.actor, at=self.at)
        self.message = f"The rules of type {self.subject.code} are confirmed."
