"""Reels sent from site to site: what is on its way or came, and each act on a page of its own."""

from datetime import datetime
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections.access import maintains_anything
from inspections.domain.act_fields import CallBackFields, ReceiptFields, SendingFields
from inspections.domain.words import Act
from inspections.pages.paging import counted_if_few, page_by_place
from inspections.pages.reel.act_page import ReelActView
from inspections.services import moves
from reels import access
from reels.domain.words import MoveState
from reels.models import Move, Person, Reel
from reels.pages.act_fields import form_of
from reels.pages.answers import page, reader, show
from reels.pages.filters import ChoiceFilter, Filter
from reels.pages.formats import Badge, moment_at
from reels.queries import matching, move_of

SIZE = 50
BADGE = {
    MoveState.UNDER_WAY: Badge(word="In transit", icon="transit", tone="doing"),
    MoveState.LATE: Badge(word="Late", icon="transit", tone="stop"),
    MoveState.RECEIVED: Badge(word="Received", icon="checked", tone="good"),
    MoveState.CALLED_BACK: Badge(word="Called back", icon="again", tone="quiet"),
}
SOUND_OR_NOT: dict[str, Any] = {
    "made": forms.TypedChoiceField, "choices": [("yes", "sound"), ("no", "not sound")], "widget": forms.RadioSelect,
    "coerce": lambda word: word == "yes",
}  # fmt: skip


class MovesFilter(Filter):
    q = forms.CharField(label="Reel", required=False, max_length=40)
    site = ChoiceFilter("From or to", "every site")
    state = ChoiceFilter("State", "every state", ((state.value, badge.word) for state, badge in BADGE.items()))


@page
def moves_page(request: HttpRequest) -> HttpResponse:
    """The moves from and to one's sites, the newest first. Four queries."""
    person, at = reader(request), timezone.now()
    sites = list(access.readable_sites(person, at).values_list("code", "name"))
    form = MovesFilter(request.GET, site=sites)
    chosen = form.chosen
    rows = matching(access.moves_of_sites(person, at), chosen, q="reel__serial")
    if code := chosen.get("site"):
        rows = rows.filter(from_site__code=code) | rows.filter(to_site__code=code)
    if state := chosen.get("state"):
        rows = rows.filter(Move.in_state(MoveState(state), at))
    pages = page_by_place(rows, ("-id",), request.GET, SIZE, lambda row: shown_move(row, at),
                          total=counted_if_few(rows), kept=chosen)  # fmt: skip
    return show(request, "inspections/moves.html", {"list": {"filter": form, "pages": pages}, "section": "board"})


def shown_move(row: Move, at: datetime) -> dict[str, Any]:
    """As a list shows it."""
    return {"row": row, "badge": BADGE[row.state_at(at)]}


@page
def receipt_of(request: HttpRequest) -> HttpResponse:
    """To the page on which a reel is received, of whatever serial is before one's eyes."""
    serial = request.GET.get("serial", "").strip()
    return redirect(reverse("reel-receipt", args=[serial]) if serial else reverse("moves"))


class SendingView(ReelActView):
    title, button = "Send the reel to another site", "Send the reel"
    means = "It is in neither site's stock until it is received there. You can call it back until then."
    withdraws = "this withdraws them"
    needs = (Act.MAINTAIN,)
    form_class = form_of(SendingFields)

    def form_options(self) -> dict[str, Any]:
        here = self.reel.site.code
        others = [each for each in access.sites().values_list("code", "name") if each[0] != here]
        return {"offered": {"site": ("choose a site", others)}}

    def do(self, data: dict[str, Any]) -> None:
        sent = moves.send(serial=self.reel.serial, site_code=data.pop("site"), actor=self.actor, at=self.at, **data)
        self.message = f"Reel {self.reel.serial} was sent to {sent.to_site.name}."


class CallBackView(ReelActView):
    title, button = "Call the reel back", "Call it back"
    means = "It did not leave, or came back: it is in the stock of the site that sent it again."
    needs = (Act.MAINTAIN,)
    form_class = form_of(CallBackFields)

    def do(self, data: dict[str, Any]) -> None:
        moves.call_back(serial=self.reel.serial, actor=self.actor, at=self.at, **data)
        self.message = f"Reel {self.reel.serial} was called back."


class ReceiptView(ReelActView):
    """Where the reel came is asked where one may receive it at more than one site, or it was sent elsewhere."""

    title, button = "Receive the reel", "Receive it"
    form_class = form_of(ReceiptFields, sound=SOUND_OR_NOT, site={"required": True})
    move: Move | None = None

    def subject(self, serial: str) -> tuple[Reel, Any]:
        reel = may_receive(serial, self.person, self.at)
        self.move = move_of(reel)
        return reel, self.move

    def find(self, **path: Any) -> None:
        super().find(**path)
        self.site = self.move.to_site if self.move else self.site

    @property
    def means(self) -> str:  # type: ignore[override]  # it depends on the move
        if self.move is None:
            return "It is not in transit."
        document = f", {self.move.document}" if self.move.document else ""
        sent_on = moment_at(self.move.from_site, self.move.sent_at)
        by = self.move.sent_by.full_name
        return f"Sent from {self.move.from_site} to {self.move.to_site} on {sent_on} by {by}{document}."

    def form_options(self) -> dict[str, Any]:
        sites = access.readable_sites(self.person, self.at).values_list("code", "name")
        sent_to = self.move.to_site.code if self.move else ""
        initial = {"site": sent_to} if sent_to in dict(sites) else {}
        return {"offered": {"site": ("choose a site", sites)}, "initial": initial}

    def do(self, data: dict[str, Any]) -> None:
        received = moves.receive(serial=self.reel.serial, facts=ReceiptFields(**data), actor=self.actor, at=self.at)
        held = "" if received.found_sound else " It is held, since it is not sound."
        self.message = f"Reel {self.reel.serial} is at {received.received_site}.{held}"


def may_receive(serial: str, person: Person, at: datetime) -> Reel:
    """A reel that the person sees; one in transit, too, for whoever maintains reels anywhere. Raises NotFound."""
    astray = access.reels_in_transit().filter(serial=serial).first() if maintains_anything(person, at) else None
    return astray or access.reel_for_read(serial, person, at)
