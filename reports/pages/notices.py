"""What one wants to be told by e-mail, for each kind of cause and each site."""

from collections.abc import Iterable, Iterator

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.utils import timezone

from reels import access
from reels.models import Site
from reels.pages.acts import NOT_TAKEN
from reels.pages.answers import form_page, reader, show
from reports.domain.notices import LABELS, NoticeKind
from reports.queries import notices as queries
from reports.services import notices

EVERY = "every"  # no site's code: those are kept apart by the prefix below
AT = "at-"
HINTS = {
    NoticeKind.AUTHORISATION: "Your own; for an administrator, everybody's.",
    NoticeKind.WITHDRAWAL: "Withdrawn by a hold, they come with the mail about the hold if you chose that, too.",
}


class NoticesForm(forms.Form):
    address = forms.EmailField(
        label="E-mail address", required=False, max_length=254, help_text="Left empty, no mail is sent to you.",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={"invalid": "Type one address, such as name@example.org, or none."},
    )  # fmt: skip

    def __init__(self, data: QueryDict | None, sites: Iterable[Site], initial: dict[str, object]) -> None:
        super().__init__(data, initial=initial)
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
        given = self.cleaned_data
        if not given.get("address") and "address" not in self.errors and any(self.chosen()):
            self.add_error("address", "Something is chosen below, so type the address that it is sent to.")
        return given

    def chosen(self) -> Iterator[tuple[NoticeKind, Site | None]]:
        for kind in NoticeKind:
            for name in self.cleaned_data.get(kind.value, []):
                yield kind, self.sites.get(name)


@form_page
def choose(request: HttpRequest) -> HttpResponse:
    """One's own choice; only sites where one is posted can be chosen."""
    person, at = reader(request), timezone.now()
    sites = list(access.readable_sites(person, at))
    known = getattr(person, "notice_address", None)
    initial: dict[str, object] = {"address": known.address if known else ""}
    for kind, code in queries.choices_of(person):
        initial.setdefault(kind, [])
        initial[kind] = [*initial[kind], f"{AT}{code}" if code else EVERY]  # type: ignore[misc]
    form = NoticesForm(request.POST if request.method == "POST" else None, sites, initial)
    if request.method == "POST" and form.is_valid():
        notices.choose(person, address=form.cleaned_data["address"], chosen=form.chosen(), at=at)
        messages.success(request, "Your choice is kept." if form.cleaned_data["address"] else "No mail is sent to you.")
        return redirect("notices")
    shown = {"form": form, "sends": notices.sends_mail(), "refused": queries.last_not_sent(person)}
    return show(request, "reports/notices.html", shown, status=NOT_TAKEN if form.errors else 200)
