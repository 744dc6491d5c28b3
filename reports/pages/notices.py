"""What one wants to be told by e-mail, for each kind of cause and each site."""

from collections.abc import Iterable, Iterator
from typing import Any

from django import forms
from django.urls import reverse

from reels import access
from reels.domain import ledger
from reels.models import Site
from reels.pages.acts import ActForm, ActView
from reports.domain.notices import LABELS, NoticeKind
from reports.queries import notices as queries
from reports.services import notices

EVERY = "every"  # no site's code: those are kept apart by the prefix below
AT = "at-"
HINTS = {
    NoticeKind.AUTHORISATION: "Your own; for an administrator, everybody's.",
    NoticeKind.SAFETY_NOTICE: "One mail for all its reels; holds that it placed are then not told one by one.",
    NoticeKind.LATE_MOVE: "From either of the two sites, once the usual days of the one that it was sent to are over.",
    NoticeKind.HOLD: "Held by a stop finding, it comes with the mail about the finding if you chose that, too.",
    NoticeKind.WITHDRAWAL: "Withdrawn by a hold, they come with the mail about the hold if you chose that, too.",
}


class NoticesForm(ActForm):
    address = forms.EmailField(
        label="E-mail address", required=False, max_length=254, help_text="Left empty, no mail is sent to you.",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={"invalid": "Type one address, such as name@example.org, or none."},
    )  # fmt: skip

    def __init__(self, *args: Any, sites: Iterable[Site], **options: Any) -> None:
        super().__init__(*args, **options)
        self.sites = {f"{AT}{site.code}": site for site in sites}
        places = [(EVERY, "every site that I may see"), *((name, site.name) for name, site in self.sites.items())]
        allowed = ", ".join(name for _, name in places)
        for kind in NoticeKind:
            self.fields[kind.value] = forms.MultipleChoiceField(
                label=LABELS[kind], choices=places, required=False, help_text=HINTS.get(kind, ""),
                widget=forms.CheckboxSelectMultiple,
                error_messages={"invalid_choice": f"“%(value)s” is none of: {allowed}."},
            )  # fmt: skip

    def clean(self) -> dict[str, object]:
        if not self.cleaned_data.get("address") and "address" not in self.errors and any(self.chosen()):
            self.add_error("address", "Something is chosen below, so type the address that it is sent to.")
        return self.cleaned_data

    def chosen(self) -> Iterator[tuple[NoticeKind, Site | None]]:
        for kind in NoticeKind:
            for name in self.cleaned_data.get(kind.value, []):
                yield kind, self.sites.get(name)


class NoticesView(ActView):
    """One's own choice; only sites where one is posted can be chosen."""

    form_class = NoticesForm
    template_name = "reports/notices.html"

    def form_options(self) -> dict[str, Any]:
        return {"sites": list(access.readable_sites(self.person, self.at)), "initial": self.chosen()}

    def chosen(self) -> dict[str, Any]:
        """The address and what is chosen now, as the form has them."""
        known = getattr(self.person, "notice_address", None)
        chosen: dict[str, Any] = {"address": known.address if known else ""}
        for kind, code in queries.choices_of(self.person):
            chosen.setdefault(kind, []).append(f"{AT}{code}" if code else EVERY)
        return chosen

    def seen(self) -> str:
        return ledger.digest(ledger.canonical(self.chosen()))

    def do(self, data: dict[str, Any]) -> None:
        assert self.sent_form, "it was sent"
        notices.choose(self.person, address=data["address"], chosen=self.sent_form.chosen(), at=self.at)
        self.message = "Your choice is saved." if data["address"] else "No mail is sent to you."

    def done_at(self) -> str:
        return reverse("notices")

    def context(self) -> dict[str, Any]:
        return {"sends": notices.sends_mail(), "refused": queries.last_not_sent(self.person)}
