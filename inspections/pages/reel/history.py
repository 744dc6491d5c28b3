"""A reel's history in words: one entry an act, with what it changed, and its digest.

A history never holds a value that is still blind, so all of it may be shown.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from inspections.domain.findings import ReelPart, Remedy
from inspections.domain.words import Point
from inspections.pages.words import LABELS
from reels.domain import ledger
from reels.domain.words import LengthUnit
from reels.models import HistoryEntry
from reels.pages.formats import count_words, length

ACTS = {
    "reel_received": "Reel received",
    "count_opened": "Count opened",
    "keyed": "{points}: keyed by the {role}",
    "gauge_taken": "Wrap gauge {wrap_gauge} taken off its machine",
    "gauge_back": "Wrap gauge back in machine {machine}",
    "third_reading_asked": "{points}: a third reading asked for",
    "third_reading_taken_back": "{points}: the request for a third reading taken back",
    "third_reading": "{points}: read by a third person; agrees with {agrees_with}",
    "reading_recorded": "Reading recorded, both people's values",
    "help_asked": "Help asked for; the count is referred",
    "released": "Decided on the referred count: {decision}",
    "read_again": "To be read again",
    "count_cancelled": "Count cancelled",
    "surprise_accepted": "Surprising count accepted with a reason",
    "signed": "Signed: {meaning}",
    "void_asked": "Asked that the signed count be voided",
    "voided": "Signed count voided",
    "values_issued": "Setup values issued for machine {machine}",
    "gauge_returned": "Wrap gauge returned",
    "read_back": "Read back by the setter",
    "confirmation": "Read back by a second person",
    "machine_checked": "Machine checked",
    "values_withdrawn": "Setup values withdrawn",
    "cable_cut": "Cable cut",
    "cable_replaced": "Cable replaced",
    "cable_entry_reversed": "Cable entry reversed",
    "reel_respooled": "Re-spooled",
    "reel_used": "Used",
    "reel_incident": "Incident",
    "reel_event_reversed": "Event reversed",
    "installed": "Installed in machine {machine}",
    "removed": "Taken off the machine",
    "finding_recorded": "Finding recorded, a {severity}",
    "finding_lowered": "Finding {finding} made a watch",
    "finding_closed": "Finding {finding} closed",
    "held": "Held",
    "held_by_notice": "Held by safety notice {reference}",
    "hold_ended": "Hold ended",
    "machine_hold_ended": "Hold of machine {machine} ended",
    "moved": "Sent to {site}",  # of older records, where a reel was there as soon as it was sent
    "sent": "Sent to {site}",
    "received": "Received at {site}",
    "called_back": "Called back",
    "retired": "Retired",
    "flag_assigned": "Drift flag assigned",
    "flag_looked_into": "Drift flag looked into",
    "flag_closed": "Drift flag closed: {ending}",
    "archived": "Archived as a document",
    "records_imported": "Older records brought in",
}
REASONS = ("reason", "remark", "end_reason", "retired_reason", "removal_reason", "words", "end_words")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedRow:
    """A row that an act wrote: what it is, what became of it, and its columns in words."""

    what: str
    how: str
    columns: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An entry of a history as a page shows it."""

    seq: int
    at: datetime
    title: str
    by: str
    via: str
    remarks: list[str]
    inspection: int | None
    changes: list[ChangedRow]
    digest: str
    prev: str


def entry_in_words(entry: HistoryEntry, unit: str = LengthUnit.METRES) -> Told:
    """An entry in words. Raises nothing for an act that is not known here: it says the act's own name."""
    content: dict[str, Any] = json.loads(bytes(entry.content))
    facts = content["facts"]
    return Told(
        seq=entry.seq,
        at=entry.at,
        title=ACTS.get(entry.act, _spaced(entry.act).capitalize()).format_map(_Facts(facts)),
        by=content["actor"]["name"],
        via="" if content["actor"]["via"] == "session" else content["actor"]["via"],
        remarks=[
            *_reasons(facts, *(change["after"] for change in content["changes"])),
            *_differing(facts),
            *(words for change in content["changes"] if (words := _outcome(change["table"], change["after"], unit))),
        ],
        inspection=facts.get("inspection"),
        changes=[*(_changed(change) for change in content["changes"]), *_revealed(facts)],
        digest=entry.digest,
        prev="" if entry.prev == ledger.FIRST_PREV else entry.prev,
    )


class _Facts(dict[str, Any]):
    """The facts of an act for its sentence: points by their labels, words spaced, and nothing missing."""

    def __getitem__(self, name: str) -> str:
        if name == "points":
            return ", ".join(LABELS[Point(point)] for point in self.get(name, ()))
        return _spaced(str(self.get(name, "?")))


def _reasons(*content: dict[str, Any]) -> list[str]:
    """Reasons and remarks, each once, wherever the act kept them."""
    return list(dict.fromkeys(each[name] for each in content for name in REASONS if each.get(name)))


def _differing(facts: dict[str, Any]) -> list[str]:
    points = [LABELS[Point(point)].lower() for point in facts.get("differs", ())]
    return [f"The two differ at the {' and the '.join(points)}."] if points else []


def _outcome(table: str, after: dict[str, Any], unit: str) -> str:
    """What an act came to, where its name does not say it."""
    match table, after:
        case "inspections_readback", {"layers": layers, "wraps": wraps, "matches": matches}:
            return f"It showed {count_words(layers, wraps)}, which {'matches' if matches else 'differs'}."
        case "inspections_setupvalues", {"layers": layers, "wraps": wraps}:
            return f"{count_words(layers, wraps).capitalize()}."
        case "inspections_setupvalues", {"withdrawn_why": why}:
            return f"Setup values withdrawn: {why.rstrip('.')}."
        case "inspections_inspection", {"layers": int(layers), "wraps": int(wraps)}:
            return f"Worked out: {count_words(layers, wraps)}."
        case "inspections_finding", {"kind_words": words, "part": part}:
            return f"{words.capitalize()} ({ReelPart(part).spoken})."
        case "inspections_finding", {"remedy": str(remedy)} if remedy:
            return f"{Remedy(remedy).spoken.capitalize()}."
        case "reels_cableevent", {"length_removed_m": str(length_m)}:
            return f"{length(Decimal(length_m), unit)} removed."
    return ""


def _revealed(facts: dict[str, Any]) -> list[ChangedRow]:
    """What the act made known, with the salt by which anybody can check what was committed to before."""
    return [
        ChangedRow(
            what=f"keying {each['keying']}" if "keying" in each else f"third reading {each['third_reading']}",
            how="no longer blind",
            columns=[f"value: {_value(each['value'])}", f"salt: {each['salt']}"],
        )
        for each in facts.get("revealed", ())
    ] + [
        ChangedRow(
            what=f"finding {each['finding']}",
            how="told in full",
            columns=[
                f"{_spaced(name)}: {_value(value)}"
                for name, value in {**each["details"], "salt": each["salt"]}.items()
                if value not in (None, "")
            ],
        )
        for each in facts.get("findings", ())
    ]


def _changed(change: dict[str, Any]) -> ChangedRow:
    before, after = change["before"], change["after"]
    if before is None:
        columns = [f"{_spaced(name)}: {_value(value)}" for name, value in after.items() if value not in (None, "")]
    else:
        columns = [f"{_spaced(name)}: {_value(before[name])} → {_value(value)}" for name, value in after.items()]
    what = f"{_spaced(change['table'].partition('_')[2])} {change['id']}"
    return ChangedRow(what=what, how="added" if before is None else "changed", columns=columns)


def _value(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else str(value)


def _spaced(word: str) -> str:
    return word.removesuffix("_id").replace("_", " ")
