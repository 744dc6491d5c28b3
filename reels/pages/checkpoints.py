"""The newest checkpoints and who countersigned them; witnesses registered and ended, countersignatures handed in."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from reels import access
from reels.domain.act_fields import CountersignatureFields, ReasonFields, WitnessFields
from reels.models import CheckpointMade, Witness
from reels.pages.act_fields import LINE, form_of
from reels.pages.acts import ActView
from reels.pages.answers import page, show
from reels.services import checkpoints, witnesses

SHOWN = 50  # the others are in the API


@page
def all_checkpoints(request: HttpRequest) -> HttpResponse:
    """The newest checkpoints, by whom each is countersigned, and all witnesses. Three queries."""
    rows: list[Any] = list(checkpoints.all_made().order_by("-entries")[:SHOWN])
    signed = witnesses.countersigned_by(each.entries for each in rows)
    for row in rows:
        row.signed_by = signed.get(row.entries, [])
    shown = {"checkpoints": rows, "witnesses": list(access.witnesses()), "most": SHOWN, "section": "documents"}
    return show(request, "reels/checkpoints.html", shown)


class CheckpointsActView(ActView):
    """An act that leads back to the page of checkpoints."""

    template_name = "reels/form.html"

    def done_at(self) -> str:
        return reverse("checkpoints")

    def context(self) -> dict[str, Any]:
        return {"section": "documents"}


class WitnessActView(CheckpointsActView):
    """An act of an administrator's on the witnesses."""

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)


class WitnessAddView(WitnessActView):
    """Register another organisation with its public key."""

    form_class = form_of(WitnessFields)
    title, button = "Register a witness", "Register it"
    says = (
        "Another organisation that checks each checkpoint against the last one it signed, and countersigns it. Take "
        "its public key from itself, by a way that nobody here can change."
    )

    def do(self, data: dict[str, Any]) -> None:
        added = witnesses.add_witness(actor=self.actor, at=self.at, **data)
        self.message = f"Registered: {added}."


class WitnessEndView(WitnessActView):
    """Take nothing more from one."""

    form_class = form_of(ReasonFields, reason=LINE)
    button = "End it"
    says = "Nothing more is taken from this witness. What it countersigned stays."
    subject: Witness

    def find(self, witness_id: int) -> None:  # type: ignore[override]  # the address names the witness
        super().find()
        self.subject = access.witness(witness_id)

    @property
    def title(self) -> str:
        return f"End the witness {self.subject}"

    def do(self, data: dict[str, Any]) -> None:
        witnesses.end_witness(self.subject, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"No longer a witness: {self.subject}."


class CountersignView(CheckpointsActView):
    """Hand in what a witness made; whoever does, the signature says whose it is."""

    form_class = form_of(CountersignatureFields)
    button = "Hand it in"
    says = "The file that the witness made of this checkpoint. It is checked against the witness's key, and kept."
    subject: CheckpointMade

    def find(self, entries: int) -> None:  # type: ignore[override]  # the address names the checkpoint
        self.subject = checkpoints.one_made(entries)

    @property
    def title(self) -> str:
        return f"Countersignature of the checkpoint over {self.subject.entries} entries"

    def do(self, data: dict[str, Any]) -> None:
        taken = witnesses.take_countersignature(self.subject.entries, actor=self.actor, at=self.at, **data)
        self.message = f"Taken in: the {taken}."
