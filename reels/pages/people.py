"""People and their logins, for administrators: who waits to be enrolled, who was locked out, who lost a device."""

from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from reels import access
from reels.domain.act_fields import EnrolmentFields, ReasonFields
from reels.domain.text import set_apart
from reels.domain.words import LOCKED_IN_WORDS, LockScope
from reels.models import Person
from reels.pages.act_fields import LINE, form_of
from reels.pages.acts import ActView
from reels.pages.answers import page, reader, show
from reels.services import login_links, people, second_factor

ALARMS_SHOWN = 20


@page
def everybody(request: HttpRequest) -> HttpResponse:
    """Everybody with a login and how it stands; and the newest alarms."""
    administrator, at = reader(request), timezone.now()
    alarms = access.alarms(administrator)[:ALARMS_SHOWN]
    about = {
        "section": "people", "alarms": [(alarm, LOCKED_IN_WORDS[LockScope(alarm.scope)]) for alarm in alarms],
        "is_alone": login_links.others_made(administrator) is None,
        "people": list(access.people_and_their_logins(administrator, at)), "now": at,
    }  # fmt: skip
    return show(request, "reels/people.html", about)


class PersonActView(ActView):
    template_name = "reels/form.html"
    what: ClassVar[str]
    button: ClassVar[str]
    says: ClassVar[str]
    subject: Person

    def find(self, username: str) -> None:  # type: ignore[override]  # the address names the person
        self.subject = access.person_for_administrator(username, self.person)

    @property
    def title(self) -> str:
        return self.what.format(set_apart(self.subject.full_name))

    @property
    def message(self) -> str:  # type: ignore[override]  # the same for each
        return f"Done for {set_apart(self.subject.full_name)}."

    def done_at(self) -> str:
        return reverse("people")

    def context(self) -> dict[str, Any]:
        return {"section": "people"}


class EnrolmentView(PersonActView):
    form_class = form_of(EnrolmentFields, checked=LINE)
    what, button = "Enrol {}", "Enrol"
    says = (
        "You confirm that you know this person or have checked their pass, and that nobody else has this login. "
        "Whoever gave the login its password cannot confirm it."
    )

    def do(self, data: dict[str, Any]) -> None:
        people.enrol(self.subject, checked=data["checked"], actor=self.actor, at=self.at)


class SecondFactorEndView(PersonActView):
    form_class = form_of(ReasonFields, reason=LINE)
    what, button = "The second factor of {}", "Take it out of force"
    says = (
        "For a device that is lost, and the recovery codes with it. All sessions end, and another administrator enrols "
        "its owner again."
    )

    def do(self, data: dict[str, Any]) -> None:
        second_factor.end_of_another(self.subject, reason=data["reason"], actor=self.actor, at=self.at)


class UnlockingView(PersonActView):
    form_class = form_of(ReasonFields, reason=LINE)
    what, button = "Unlock the login of {}", "Unlock"
    says = (
        "For somebody who is kept out by wrong passwords, their own or a stranger's; the alarms say where those came "
        "from. They are forgotten, and the login can be tried again everywhere."
    )

    def do(self, data: dict[str, Any]) -> None:
        people.unlock(self.subject, reason=data["reason"], actor=self.actor, at=self.at)
