"""Setup values on paper: the card that the setter takes along, and what became of the values."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from inspections.domain.validity import Validity, ValidityAt, WhatFollowed, validity_of_count
from reels.domain.cautions import CAUTIONS
from reports.pdf import words
from reports.pdf.facts import SetupCard
from reports.pdf.pdfa import write_sheet
from reports.pdf.story import Story, shortened


def setup_card(card: SetupCard, *, at: datetime) -> bytes:
    """What the setter takes along: the two numbers, and where they come from."""
    with words.by_clocks(card.clocks):
        return _card(card, at)


def _card(card: SetupCard, at: datetime) -> bytes:
    values, story = card.values, Story()
    story.heading(f"Setup card: reel {card.reel} in machine {values['machine']}", 1)
    story.result(values, is_struck=bool(values["withdrawn_at"]))
    story.facts([
        ("Reel", card.reel), ("Machine", values["machine"]), ("Host", card.host),
        ("From inspection", f"{card.inspection}"), ("Issued", words.time(values["issued_at"])),
        ("Issued by", words.person(values["issued_by"])), ("Cable when counted", words.length(card.length)),
        ("That count", card.count_stands),
    ])  # fmt: skip
    story.heading("Progress", 2)
    setup_values(story, values)
    story.heading("Cautions", 2)
    for line in (
        CAUTIONS[0],
        "Put the wrap gauge back in its place and leave nothing behind before the machine runs.",
        "Set the numbers, read back what the machine shows, and have a second person read it, too. A number that "
        "differs is refused: find out why first.",
    ):
        story.paragraph(f"• {line}")
    footer = (f"As of {words.time(at.isoformat())}", "SHA-256 of the record:", card.record_digest)
    withdrawn = values["withdrawn_at"]
    band = (
        f"WITHDRAWN {words.minute(withdrawn)}: {values['withdrawn_why']}. Do not set these values." if withdrawn else ""
    )
    return write_sheet(story, f"Setup card, reel {card.reel}", footer, at=at, band=band, qr_text=_code(card, at))


def _code(card: SetupCard, at: datetime) -> str:
    """What the QR code says: the values by the digest of their record, and how they stood when it was drawn."""
    setup, word = card.values["id"], Validity.WITHDRAWN if card.values["withdrawn_at"] else Validity.STANDS
    if card.address:
        return f"{card.address}/stands/{card.record_digest}/values/{setup}"
    return (
        f"setup values {setup} of inspection {card.inspection} {word} {at:%Y%m%dT%H%M%SZ} sha256 {card.record_digest}"
    )


def count_validity(situation: Mapping[str, Any]) -> ValidityAt:
    """Whether a count stood, by its situation, when the document was made."""
    count, newer, void = situation.get("count"), situation.get("superseded"), situation["void"]
    until = datetime.fromisoformat(count["current_until"]) if count and count["current_until"] else None
    lapses = [(until, "its days are over")] if until else []
    if count and count["why"]:
        lapses.append((datetime.fromisoformat(count["ended_at"]), count["why"]))
    followed = WhatFollowed(
        lapsed=min(lapses, default=None),
        superseded=(datetime.fromisoformat(newer["at"]), newer["by"]) if newer else None,
        voided=(datetime.fromisoformat(void["confirmed_at"]), void["reason"])
        if void and void["confirmed_at"]
        else None,
    )
    return validity_of_count(followed, datetime.fromisoformat(situation["at"]))


def count_stands(situation: Mapping[str, Any]) -> str:
    """The same in words, and until when the count is current."""
    validity, count = count_validity(situation), situation.get("count")
    if validity.since is not None:
        return f"{validity.word} since {words.time(validity.since.isoformat())}: {shortened(validity.why, 160)}"
    if not count or not count["current_until"]:
        return f"{validity.word}; no day ends it"
    return f"{validity.word}; current until {words.time(count['current_until'])}, unless something ends it before"


def _shown(check: Mapping[str, Any]) -> str:
    """What was read on the machine beside what was expected, and what was said."""
    reading = check.get("reading")
    if reading is None:
        return check["remark"] or "—"
    out = f" with {words.metres(reading['length_out_m'])} out" if Decimal(reading["length_out_m"] or 0) else ", stowed"
    if reading["length_m"] is not None:
        seen, expected = words.metres(reading["length_m"]), words.metres(reading["expected_length_m"])
    else:
        seen = words.count_words(reading["layers"], reading["wraps"])
        expected = f"{reading['expected_layers']} layers, {Decimal(reading['expected_wraps']):.1f} wraps"
    more = reading["more_turns"]
    difference = "; no drum shows that" if more is None else f"; {Decimal(more):+.1f} turns".replace("-", "−")
    remark = f". {check['remark']}" if check["remark"] else ""
    return f"{seen}{out}; expected {expected}{difference}{remark}"


def setup_values(story: Story, values: Mapping[str, Any]) -> None:
    """Setup values with each act on them: issued, set, read back, checked, confirmed, withdrawn."""
    count = words.count_words(values["layers"], values["wraps"], values["parity"])
    story.heading(f"{count} for machine {values['machine']}", 3)
    acts = {"Issued": "issued", "Wrap gauge returned": "gauge_returned", "Set": "set", "Confirmed": "confirmed",
            "Withdrawn": "withdrawn"}  # fmt: skip
    done = [(name, words.done(values[f"{act}_at"], values[f"{act}_by"])) for name, act in acts.items()]
    story.facts([*done, ("Reason", values["withdrawn_why"] or "—")])
    rows = [
        (f"read-back, {each['role']}", words.count_words(each["layers"], each["wraps"]),
         "as issued" if each["matches"] else "DIFFERS, refused", words.person(each["keyed_by"]),
         words.time(each["keyed_at"]))
        for each in values["read_backs"]
    ] + [
        (each["kind"], _shown(each), "passed" if each["passed"] else "FAILED",
         words.person(each["done_by"]), words.time(each["done_at"]))
        for each in values["checks"]
    ]  # fmt: skip
    if rows:
        story.table(("Check", "Shown", "Result", "By", "When"), rows, (0.9, 1.7, 0.8, 1.2, 1.5))
