"""What the tests of findings share: how one is decided on, and what is read afterwards."""

import json
from typing import Any

from inspections.domain.findings import Remedy
from inspections.models import Finding, Inspection
from inspections.queries.status import with_status
from inspections.services import findings
from reels.models import HistoryEntry, Person, Reel
from reels.services.history import Actor
from tests.builders import NOW


def lower(person: Person, finding: Finding, at: Any = NOW, via: str = "session") -> Finding:
    return findings.lower_finding(finding_id=finding.pk, reason="within limits", actor=Actor(person, via=via), at=at)


def close(person: Person, finding: Finding, remedy: Remedy = Remedy.SOUND, at: Any = NOW,
          via: str = "session") -> Finding:  # fmt: skip
    return findings.close_finding(
        finding_id=finding.pk, remedy=remedy, reason="looked at", actor=Actor(person, via=via), at=at
    )


def reel() -> Any:
    return with_status(Reel.objects.filter(serial="LW-0001")).get()


def entry(act: str) -> dict[str, Any]:
    """The newest entry of an act."""
    newest = HistoryEntry.objects.filter(act=act).order_by("id").last()
    assert newest
    content: dict[str, Any] = json.loads(bytes(newest.content))
    return content


def state_of(inspection: Inspection) -> str:
    inspection.refresh_from_db()
    return inspection.state
