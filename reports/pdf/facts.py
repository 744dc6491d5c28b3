"""What documents are made from. That of a record: stored bytes, how things stood when it was made, and nothing else."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from reels.domain import ledger

RECORD = "record.json"
SITUATION = "situation.json"
# Of a situation: they differ without anything of the record having changed. document: its number of the inspection's;
# issuer, site_name, clocks, address: whose service it was, where the reel was then, its zone, and where to ask.
NOT_COMPARED = ("at", "made_with", "document", "issuer", "site_name", "clocks", "address")


@dataclass(frozen=True, kw_only=True)
class InspectionFacts:
    """The canonical record of an inspection as it was signed, what its signers stated, and the situation.

    record, statements, situation: canonical JSON bytes; the document carries them, and its pages show them. The bytes
    are kept beside what is read from them, since digests and signatures are over the bytes.
    """

    record: bytes
    statements: tuple[bytes, ...]
    situation: bytes

    @cached_property
    def record_data(self) -> dict[str, Any]:
        return dict(json.loads(self.record))

    @cached_property
    def signatures(self) -> list[dict[str, Any]]:
        """The statements of the signers, read, in order."""
        return [json.loads(each) for each in self.statements]

    @cached_property
    def situation_data(self) -> dict[str, Any]:
        return dict(json.loads(self.situation))

    @property
    def record_digest(self) -> str:
        return ledger.digest(self.record)

    @property
    def situation_digest(self) -> str:
        """SHA-256 of the situation, without when and with what the document was made."""
        compared = {name: value for name, value in self.situation_data.items() if name not in NOT_COMPARED}
        return ledger.digest(ledger.canonical(compared))

    @property
    def attachments(self) -> dict[str, bytes]:
        signed = {f"signature-{i}.json": each for i, each in enumerate(self.statements, start=1)}
        return {RECORD: self.record, **signed, SITUATION: self.situation}


def from_attachments(files: dict[str, bytes]) -> InspectionFacts:
    """The facts that a document carries. Raises KeyError or ValueError for another document."""
    statements = [files[name] for name in sorted(files) if name.startswith("signature-")]
    return InspectionFacts(record=files[RECORD], statements=tuple(statements), situation=files[SITUATION])


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupCard:
    """Setup values with the reel they are for. values, length: as in a situation (reports/queries/documents.py).

    count_stands: until when the count that they came from is current, or what ended it. clocks: the site's zone;
    address: of the service.
    """

    reel: str
    inspection: int
    record_digest: str
    host: str
    length: Mapping[str, str] | None
    values: Mapping[str, Any]
    count_stands: str
    clocks: str = "UTC"
    address: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftLine:
    """An interval between two counts, in words."""

    reel: str
    from_at: datetime
    to_at: datetime
    p: str
    p_then: str
    change: str
    logged: str
    is_flagged: bool
    explanation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelLabel:
    """What stands on one label. address: of the reel's page."""

    serial: str
    reel_type: str
    part_number: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """An entry of a history as a line. act: in words, with what it came to."""

    seq: int
    at: datetime
    act: str
    by: str
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLine:
    """A row of a part of a report: its head, and its cells with the names of their columns.

    address: where its head leads to on a page.
    """

    head: str
    cells: list[tuple[str, str]]
    address: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportPart:
    """A table under a title. says: before it; none: in its place where it has no rows; shares: of the width on paper.

    key: what it is called in a page.
    """

    key: str
    title: str
    says: str
    columns: Sequence[str]
    shares: Sequence[float]
    lines: list[PartLine]
    none: str

    @property
    def is_facts(self) -> bool:
        """Whether each line is one figure under its name."""
        return len(self.columns) == 2
