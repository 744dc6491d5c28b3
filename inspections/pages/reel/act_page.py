"""The page of one act on a reel."""

from typing import Any, ClassVar

from django.urls import reverse

from inspections import access
from inspections.domain.words import Act
from inspections.pages.reel.history import entry_in_words
from inspections.queries.setup_values import values_in_force
from reels import access as reel_access
from reels.models import Reel
from reels.pages.acts import FORBIDDEN, ActView, ChangedMeanwhile


class ReelActView(ActView):
    """One act on one reel, or on a row of it. needs: the authorisations of which one is enough; none: see the service.

    title, button and means are what its page says; withdraws: what becomes of setup values in force, which it names.
    """

    title: ClassVar[str]
    button: ClassVar[str]
    means: ClassVar[str] = ""
    withdraws: ClassVar[str] = ""
    needs: ClassVar[tuple[Act, ...]] = ()
    template_name = "inspections/act.html"
    status_not_allowed = FORBIDDEN
    reel: Reel
    row: Any = None

    def find(self, **path: Any) -> None:
        self.reel, self.row = self.subject(**path)
        self.site = self.reel.site

    def subject(self, serial: str) -> tuple[Reel, Any]:
        """The reel, and the row of it that the address names. Raises NotFound."""
        return reel_access.reel_for_read(serial, self.person, self.at), None

    def require_allowed(self) -> None:
        if self.needs:
            access.any_authorisation_for(self.person, self.needs, self.reel, self.at)

    def seen(self) -> str:
        """How long the reel's history is: every act makes it longer."""
        return str(self.reel.chain.length)

    def lock(self) -> None:
        """Lock the reel, and read again what `seen` is made of."""
        self.reel.chain = reel_access.lock_of_reel(serial=self.reel.serial) or self.reel.chain

    def require_unchanged(self, seen: str) -> None:
        self.lock()
        if self.seen() != seen and (last := reel_access.readable_history(self.reel).last()):
            entry = entry_in_words(last)
            raise ReelChanged(subject=self.named, title=entry.title, by=entry.by)

    @property
    def named(self) -> str:
        """What the act is about, as a refusal may name it."""
        return f"reel {self.reel.serial}"

    def done_at(self) -> str:
        return reverse("reel", args=[self.reel.serial])

    def context(self) -> dict[str, Any]:
        return {"reel": self.reel, "row": self.row, "withdrawn": self.withdrawn()}

    def withdrawn(self) -> str:
        """What is in force for the reel, and that this act would end it; or nothing."""
        values = values_in_force(self.reel) if self.withdraws else None
        return f"{values.machine.serial}: {values.count} in force; {self.withdraws}." if values else ""


class ReelChanged(ChangedMeanwhile):
    message = (
        "This was not stored. Since the form was opened, something else was recorded for {subject}: {title} "
        "({by}). What you typed is still here; if it still holds, send it."
    )
