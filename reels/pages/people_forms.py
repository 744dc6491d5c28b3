"""People who are added, changed and posted; each gets a link, good once, instead of a password that somebody knows."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from reels import access
from reels.domain.act_fields import LoginFields, PeopleFields, PostingFields
from reels.domain.text import set_apart
from reels.models import Person, Posting, columns
from reels.pages.act_fields import asks, form_of
from reels.pages.acts import ActForm, ActView, ComparedView, differing
from reels.pages.login_links import link_address
from reels.pages.people import PersonActView
from reels.services import login_links, people, register
from reels.services.submissions import SentAnswer

EVERY_SITE = "*"  # no code of a site has it
SEPARATORS = (";", "\t", ",")
PARTS = ("full_name", "staff_number", "username")
NOT_AGAIN = (
    "This was done before, and the links were shown with the first answer. Did you not see them, make new ones under "
    "People."
)


@asks(PeopleFields)
class PeopleForm(ActForm):
    def clean_people(self) -> list[dict[str, str]]:
        """The people of the list, each by the parts of their line."""
        lines = [(n, line) for n, line in enumerate(self.cleaned_data["people"].splitlines(), 1) if line.strip()]
        rows = []
        for number, line in lines:
            separator = next((each for each in SEPARATORS if each in line), ";")  # a name may hold a comma
            parts = [part.strip().strip('"') for part in line.split(separator)]
            if len(parts) != len(PARTS) or not all(parts):
                needed = "a full name, a staff number and a user name, with ; between them"
                raise forms.ValidationError(f"Line {number} was “{line.strip()[:60]}”; needed: {needed}.")
            rows.append(dict(zip(PARTS, parts, strict=True)))
        return rows


LoginChangeForm = form_of(LoginFields)
PostingForm = form_of(PostingFields)


def sites_offered(empty: str) -> tuple[str, list[tuple[str, str]]]:
    return empty, [(EVERY_SITE, "every site"), *access.sites().values_list("code", "name")]


class LinksShownView(ActView):
    """An act of an administrator's that ends with links, which are shown once."""

    links: list[tuple[Person | None, str]]

    def respond(self, answer: SentAnswer, *, is_repeat: bool) -> HttpResponse:
        if is_repeat:
            messages.warning(self.request, NOT_AGAIN)
            return super().respond(answer, is_repeat=is_repeat)
        rows = [(person, link_address(self.request, secret)) for person, secret in self.links]
        about = {"rows": rows, "next": self.next_at(), "section": "people"}
        return render(self.request, "reels/links_shown.html", about)

    def done_at(self) -> str:
        return reverse("people")


class PeopleAddView(LinksShownView):
    """Add one person or a list of them, posted to a site, each with a link to choose their own password."""

    template_name = "reels/form.html"
    form_class = PeopleForm
    title, button = "Add people", "Add them"
    says = (
        "Each gets a link, good once and for seven days, to choose a password that nobody else ever knew. Another "
        "administrator then enrols them."
    )

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def form_options(self) -> dict[str, Any]:
        return {"offered": {"site": sites_offered("nowhere yet")}}

    def context(self) -> dict[str, Any]:
        return {"section": "people"}

    def do(self, data: dict[str, Any]) -> None:
        by: dict[str, Any] = {"actor": self.actor, "at": self.at}
        self.links = []
        for row in data["people"]:
            person = people.add_person(password=None, is_staff=data["is_staff"], **row, **by)
            if data["site"]:
                site = None if data["site"] == EVERY_SITE else access.site(data["site"])
                register.post_person(person=person, site=site, valid_from=self.at, **by)
            self.links.append((person, login_links.issue_for(person, **by)))
        self.message = f"Added: {len(self.links)}."


class ComparedPersonView(ComparedView, PersonActView):
    def looked_at(self) -> Any:
        return columns(access.person_for_administrator(self.subject.username, self.person))


class LinkView(LinksShownView, ComparedPersonView):
    """A new link for a login, in place of a password that is forgotten or a link that was lost."""

    form_class = ActForm
    what, button = "A link for {}", "Make the link"
    says = (
        "They choose a new password by it. Their sessions and their enrolment end: another administrator enrols them "
        "again."
    )

    def do(self, data: dict[str, Any]) -> None:
        secret = login_links.issue_for(self.subject, actor=self.actor, at=self.at)
        self.links = [(self.subject, secret)]


class SecondAdministratorView(LinksShownView):
    """Another link for the second administrator, in place of one that was lost."""

    template_name = "reels/form.html"
    title, button = "The second administrator", "Make the link"
    says = "They make a login of their own by it, as you did. A link that was made before is not good from then on."

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def context(self) -> dict[str, Any]:
        return {"section": "people"}

    def do(self, data: dict[str, Any]) -> None:
        self.links = [(None, login_links.issue_second(actor=self.actor, at=self.at))]


class PersonChangeView(ComparedPersonView):
    """Change a name, make somebody an administrator, close a login."""

    form_class = LoginChangeForm
    what, button = "Change the login of {}", "Change it"
    says = "The user name stays, since records name it. A login is closed and never removed."

    def form_options(self) -> dict[str, Any]:
        return {"initial": {name: getattr(self.subject, name) for name in LoginChangeForm.base_fields}}

    def do(self, data: dict[str, Any]) -> None:
        if changed := differing(self.subject, data):
            people.change_person(self.subject, actor=self.actor, at=self.at, **changed)


class PostingAddView(ComparedView, PersonActView):
    """Let somebody read at a site."""

    form_class = PostingForm
    what, button = "Post {} to a site", "Post them"
    says = "A posting lets somebody read at a site; what they may do there is authorised apart."

    def form_options(self) -> dict[str, Any]:
        return {"offered": {"site": sites_offered("")}}

    def looked_at(self) -> Any:
        postings = access.person_for_administrator(self.subject.username, self.person).postings.all()
        return [columns(each) for each in sorted(postings, key=lambda each: each.pk)]

    def do(self, data: dict[str, Any]) -> None:
        site = None if data["site"] == EVERY_SITE else access.site(data["site"])
        register.post_person(person=self.subject, site=site, valid_from=data["valid_from"] or self.at,
                             valid_until=data["valid_until"], actor=self.actor, at=self.at)  # fmt: skip


class PostingEndView(ComparedView):
    """End a posting now."""

    template_name = "reels/form.html"
    button = "End it now"
    says = "They can no longer read there. What they signed stands."
    subject: Posting

    def find(self, posting_id: int) -> None:  # type: ignore[override]  # the address names the posting
        self.subject = access.posting_for_administrator(posting_id, self.person)

    @property
    def title(self) -> str:
        site = self.subject.site.name if self.subject.site else "every site"
        return f"End the posting of {set_apart(self.subject.person.full_name)} to {set_apart(site)}"

    def looked_at(self) -> Any:
        return columns(access.posting_for_administrator(self.subject.pk, self.person))

    def do(self, data: dict[str, Any]) -> None:
        register.change(self.subject, actor=self.actor, at=self.at, valid_until=self.at)
        self.message = "The posting is ended."

    def done_at(self) -> str:
        return reverse("people")
