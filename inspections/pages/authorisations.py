"""Authorisations as a table of people and acts: many are granted in one form, each by one act of its own."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.urls import reverse

from inspections import access
from inspections.domain.words import Act
from inspections.models import Authorisation
from inspections.services import authorisations
from reels import access as reel_access
from reels.domain.act_fields import ReasonFields
from reels.domain.text import set_apart
from reels.models import Person, ReelType, columns
from reels.pages.act_fields import LINE, form_of
from reels.pages.acts import ActForm, ComparedView

TIMES = ("valid_from", "valid_until")
EVERY = "*"  # no code of a site or type has it
WHAT = {
    Act.COUNT: "count a reel", Act.VERIFY: "witness and sign counts", Act.ISSUE: "issue setup values",
    Act.SET: "set the machine", Act.CONFIRM: "confirm what it shows", Act.RELEASE: "decide on what was referred",
    Act.INSTRUCT: "see practice", Act.MAINTAIN: "log cuts, install, hold, send",
}  # fmt: skip


def _moment(label: str, help_text: str) -> forms.DateTimeField:
    clock = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    return forms.DateTimeField(label=label, required=False, help_text=help_text, widget=clock)


class GrantsForm(ActForm):
    """Who is to be authorised for what; each choice is a user name and an act."""

    valid_from = _moment("From", "Empty: from now on.")
    valid_until = _moment("Until", "Empty: until they are ended.")
    granted = forms.MultipleChoiceField(error_messages={"required": "Tick what somebody is to be authorised for."})


class AuthorisationsView(ComparedView):
    """Everybody but oneself and every act, at one site or all, for one reel type or all."""

    template_name = "inspections/authorisations.html"
    form_class = GrantsForm
    title = "Authorisations"
    reel_type: ReelType | None = None

    def find(self, **path: Any) -> None:
        reel_access.only_administrators(self.person)
        site, code = self.request.GET.get("site", EVERY), self.request.GET.get("type", EVERY)
        self.site = None if site == EVERY else reel_access.site(site)
        self.reel_type = None if code == EVERY else reel_access.reel_type(code)

    @property
    def people(self) -> list[Person]:
        everybody = reel_access.people(self.person).filter(is_active=True).exclude(pk=self.person.pk)
        return list(everybody.order_by("full_name", "pk"))

    def form_options(self) -> dict[str, Any]:
        choices = [(f"{person.username} {act}", act.verb) for person in self.people for act in Act]
        return {"offered": {"granted": ("", choices)}}

    def context(self) -> dict[str, Any]:
        form = self.sent_form
        ticked = form["granted"].data if form else ()
        return {
            "is_timed": bool(form and any(form[name].data or form[name].errors for name in TIMES)), "at": self.at,
            "acts": [(act.verb, WHAT[act]) for act in Act], "rows": self._rows(set(ticked or ())), "section": "people",
            "sites": list(reel_access.sites()), "types": list(reel_access.reel_types()), "chosen_type": self.reel_type,
        }  # fmt: skip

    def _rows(self, ticked: set[str]) -> list[dict[str, Any]]:
        """The people, and for each act what is in force just so, or whether it is ticked. Two queries.

        On a phone a person is one line, with all that is in force; the acts are behind it, open where one is ticked.
        """
        here, elsewhere = self._by_person()
        rows = []
        for person in self.people:
            own, others = here.get(person.pk, {}), elsewhere.get(person.pk, ())
            cells = [
                {"act": act.verb, "value": (value := f"{person.username} {act}"), "is_ticked": value in ticked,
                 "in_force": own.get(act)}
                for act in Act
            ]  # fmt: skip
            named, unnamed = (", ".join(act.verb for act in Act if act in acts) for acts in (own, others))
            about = {"in_force": named or ("" if unnamed else "nothing"), "elsewhere": unnamed, "cells": cells}
            rows.append({"person": person, "is_ticked": any(cell["is_ticked"] for cell in cells), **about})
        return rows

    def _by_person(self) -> tuple[dict[int, dict[str, Authorisation]], dict[int, set[str]]]:
        """By person, what is not over of just this site and type, by act; and the acts of all others."""
        here: dict[int, dict[str, Authorisation]] = {}
        elsewhere: dict[int, set[str]] = {}
        for each in access.authorisations_not_ended(self.at).select_related("site", "reel_type").order_by("pk"):
            if (each.site, each.reel_type) == (self.site, self.reel_type):
                here.setdefault(each.person_id, {})[each.act] = each
            else:
                elsewhere.setdefault(each.person_id, set()).add(each.act)
        return here, elsewhere

    def _here(self) -> QuerySet[Authorisation]:
        rows = access.authorisations_not_ended(self.at)
        return rows.filter(site=self.site, reel_type=self.reel_type).order_by("pk")

    def looked_at(self) -> Any:
        return list(self._here().values_list("pk", flat=True))

    def do(self, data: dict[str, Any]) -> None:
        by_name = {person.username: person for person in self.people}
        for each in data["granted"]:
            username, act = each.split(" ")
            authorisations.grant(
                person=by_name[username], act=Act(act), reel_type=self.reel_type, site=self.site,
                valid_from=data["valid_from"] or self.at, valid_until=data["valid_until"], actor=self.actor, at=self.at,
            )  # fmt: skip
        self.message = f"Granted: {len(data['granted'])}."

    def done_at(self) -> str:
        query = (
            f"?site={self.site.code if self.site else EVERY}&type={self.reel_type.code if self.reel_type else EVERY}"
        )
        return reverse("authorisations") + query


class AuthorisationEndView(ComparedView):
    """End an authorisation before its time."""

    template_name = "reels/form.html"
    form_class = form_of(ReasonFields, reason=LINE)
    button = "End it now"
    says = "They may not do it from now on. What was signed under it stands."
    subject: Authorisation

    def find(self, authorisation_id: int) -> None:  # type: ignore[override]  # the address names the authorisation
        self.subject = access.authorisation_to_end(authorisation_id, self.person)

    @property
    def title(self) -> str:
        return f"End the authorisation of {set_apart(self.subject.person.full_name)} to {self.subject.verb}"

    def elsewhere(self) -> str:
        return self.done_at() if self.subject.ended_at else ""

    def looked_at(self) -> Any:
        return columns(access.authorisation_to_end(self.subject.pk, self.person))

    def do(self, data: dict[str, Any]) -> None:
        authorisations.end(authorisation=self.subject, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = "The authorisation is ended."

    def done_at(self) -> str:
        return reverse("authorisations")
