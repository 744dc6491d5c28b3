"""The record of an inspection as a person reads it, and the file that is kept of it."""

from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.metadata import version
from typing import Any

from inspections.domain.findings import ReelPart
from inspections.domain.keying import half_of
from inspections.domain.validity import Validity
from inspections.domain.words import Point, Role
from reels.domain import ledger
from reels.domain.cautions import CAUTIONS
from reels.domain.reel_figures import DrawnCount, DrumSection, drum_of, reel_section, reference_view
from reels.domain.words import counted
from reports.pdf import style, words
from reports.pdf.document import HeaderAndFooter, TaggedPages, lay_out
from reports.pdf.facts import InspectionFacts
from reports.pdf.fonts import is_printable
from reports.pdf.pdfa import Part, write_pdfa
from reports.pdf.sheets.annex import CORRECTIONS, annex
from reports.pdf.sheets.setup import count_stands, count_validity
from reports.pdf.story import Story, shortened

# Goes up by one with any change that changes the pages' bytes. A document names the form that it was made with, and
# only pages of the same form are drawn up again and compared (examination.py). A test holds the bytes of each form.
FORM = "18"
SECTION_WIDTH, MAX_SECTION_HEIGHT = 250.0, 190.0
HIGHEST_FIGURE = 130.0
NOT_SHOWN = (
    "Characters that these pages can't show stand by their code points, in square brackets. The attached record.json "
    "has them as they were keyed."
)


@cache
def library_versions() -> dict[str, str]:
    """What the bytes of a document depend on besides its facts."""
    return {"form": FORM, **{name: version(name) for name in ("reportlab", "pikepdf", "uharfbuzz", "python-bidi")}}


def inspection_pdf(facts: InspectionFacts, part: Part = "3b") -> bytes:
    """The document of an inspection, not sealed. The same facts and versions give the same bytes."""
    at = datetime.fromisoformat(facts.situation_data["at"])
    return write_pdfa(render_inspection(facts), at=at, attachments=facts.attachments, part=part)


def render_inspection(facts: InspectionFacts) -> TaggedPages:
    """The pages of an inspection's record. The same facts give the same bytes."""
    with words.by_clocks(facts.situation_data["clocks"]):
        return _rendered(facts)


def _rendered(facts: InspectionFacts) -> TaggedPages:
    record, situation = facts.record_data, facts.situation_data
    number, serial, validity = record["inspection"], record["reel"]["serial"], count_validity(situation)
    document = _replaces(situation)
    around = HeaderAndFooter(
        header=(f"{document} · reel {serial}", f"{validity.word}, as of {words.day(situation['at'])}".upper()),
        footer=(
            f"Drawn up {words.time(situation['at'])} from what was recorded by then",
            "SHA-256 of the record:",
            facts.record_digest,
            "The record, the signed statements and the situation are attached to this file.",
        ),
        qr_text=_code(facts),
        band=_band(situation),
    )
    title, subject = f"Inspection {number} of reel {serial}", f"Record of a count, SHA-256 {facts.record_digest}"
    return lay_out(story_of(facts), around, title=title, subject=subject)


def _replaces(situation: Mapping[str, Any]) -> str:
    """Which document of which inspection it is, and which one it replaces."""
    number = situation["document"]
    replaced = f", replaces {number - 1}" if number > 1 else ""
    return f"Document {number} of inspection {situation['inspection']}{replaced}"


def _code(facts: InspectionFacts) -> str:
    """What the QR code says: digest, number of the document, and how the count stood when it was made."""
    situation = facts.situation_data
    number, word = situation["document"], count_validity(situation).word
    stamp = f"{datetime.fromisoformat(situation['at']):%Y%m%dT%H%M%SZ}"
    if situation["address"]:
        return f"{situation['address']}/stands/{facts.record_digest}/{number}/{word}/{stamp}"
    return f"inspection {situation['inspection']} document {number} {word} {stamp} sha256 {facts.record_digest}"


def _band(situation: Mapping[str, Any]) -> str:
    """What stands on top of every page where the count does not simply stand, with date and reason."""
    validity, void = count_validity(situation), situation["void"]
    if validity.since is not None:
        return f"{str(validity.word).upper()} {words.minute(validity.since.isoformat())}: {validity.why}"
    if void:
        return f"VOID ASKED FOR {words.minute(void['requested_at'])}, not confirmed: {void['reason']}"
    return ""


def story_of(facts: InspectionFacts) -> Story:
    record, situation = facts.record_data, facts.situation_data
    story, drum = Story(), drum_of(record["parameters"], situation["reference_side"])
    _title(story, facts)
    _result(story, record, situation)
    _machine(story, situation)
    _signatures(story, facts)
    _in_plain_sight(story, record, situation)
    _figure(story, record, drum)
    story.next_page(but_first=True)
    annex(story, facts, drum)
    return story


# Page 1 -------------------------------------------------------------------------------------------------------------


def _title(story: Story, facts: InspectionFacts) -> None:
    record, situation = facts.record_data, facts.situation_data
    reel, prepared = record["reel"], record["preparation"]
    story.paragraph(" · ".join(each for each in (situation["issuer"], situation["site_name"]) if each), style.ISSUER)
    story.heading(f"Inspection {record['inspection']}: count of reel {reel['serial']}", 1)
    story.paragraph(f"Record of a count of cable. {_replaces(situation)}.", style.NOTE)
    if not all(is_printable(each.decode()) for each in facts.attachments.values()):
        story.paragraph(NOT_SHOWN, style.NOTE)
    numbers = {"part_number": "Part number", "cable_part_number": "Cable part number", "cable_serial": "Cable serial"}
    story.facts([
        ("Reel", reel["serial"]), ("Reel type", reel["type"]),
        *((name, reel[key]) for key, name in numbers.items() if reel.get(key)),  # earlier records tell of none
        ("Counted", words.time(record["done_at"])), ("Recorded", _recorded(record)),
        ("Work order", prepared["work_order"]),
        ("Publication", f"{prepared['publication']}, revision {prepared['publication_revision']}"),
    ])  # fmt: skip


def _recorded(record: Mapping[str, Any]) -> str:
    return f"{words.time(record['recorded_at'])}{', LATE, from paper' if record['from_paper'] else ''}"


def _result(story: Story, record: Mapping[str, Any], situation: Mapping[str, Any]) -> None:
    story.heading("Result", 2)
    validity = count_validity(situation)
    story.result(record["result"], is_struck=validity.word in (Validity.VOIDED, Validity.SUPERSEDED))
    if length := situation["length"]:  # none where the drum of the type, as it is now, cannot hold the count
        story.paragraph(
            f"Cable on the drum by this count: {words.length(length)} (standard uncertainty), calculated from the "
            "dimensions of the reel type when this document was made, without the lead."
        )
    story.paragraph(f"This record, on {words.time(situation['at'])}: {count_stands(situation)}.")
    if situation["address"]:
        story.paragraph(
            f"Whether it still stands is told at {situation['address']}/stands/ followed by the SHA-256 below.",
            style.NOTE,
        )


def _machine(story: Story, situation: Mapping[str, Any]) -> None:
    """The machine that was given these numbers last, and what was read back on it."""
    if not situation["setup_values"]:
        return
    values = situation["setup_values"][-1]
    shown = [each for each in values["read_backs"] if each["matches"]]
    read = "; ".join(
        f"{words.count_words(each['layers'], each['wraps'])} by {words.person(each['keyed_by'])}" for each in shown
    )
    ended = (
        f"WITHDRAWN {words.time(values['withdrawn_at'])}: {values['withdrawn_why']}" if values["withdrawn_at"] else ""
    )
    confirmed = words.done(values["confirmed_at"], values["confirmed_by"])
    story.notes([
        ("Set on machine", f"{values['machine']}: " + (ended or f"confirmed {confirmed}")),
        ("Read back", read or "not yet"),
    ])  # fmt: skip


def _in_plain_sight(story: Story, record: Mapping[str, Any], situation: Mapping[str, Any]) -> None:
    """Whatever is not as usual about this count, in a line each, and the cautions."""
    lines = [
        (f"Finding {each['finding']}", f"{each['kind_words']} ({ReelPart(each['part']).spoken}), a {each['severity']}"
         + (", closed" if each["closed_at"] else ""))
        for each in record.get("findings", [])
    ]  # fmt: skip
    lines += [
        ("Referred", f"{each['why']} Decided: {words.spaced(each['decision'])}, {words.person(each['released_by'])}")
        for each in record["referrals"]
    ]
    if record["rereads"] or len(record["readings"]) > 1:
        lines.append(
            ("Read again", f"{counted(len(record['readings']), 'reading')}, {counted(record['rereads'], 'reread')}")
        )
    if (accepted := record["readings"][-1].get("surprise_accepted")) is not None:
        lines.append(("Not expected", f"{accepted['told']} Accepted: {accepted['reason']}"))
    if record["from_paper"]:
        lines.append(
            ("Late entry", f"done {words.time(record['done_at'])}, entered {words.time(record['recorded_at'])}")
        )
    story.notes([(name, shortened(text)) for name, text in lines])
    story.paragraph("\n".join(f"• {caution}" for caution in CAUTIONS), style.NOTE)


def _figure(story: Story, record: Mapping[str, Any], drum: DrumSection) -> None:
    last = record["readings"][-1]
    values = {keyed["point"]: keyed["value"] for keyed in last["keyed"] if keyed["role"] == Role.TECHNICIAN}
    if Point.HAND_COUNT not in values or not last["working"]["steps"]:
        return
    crossover = values.get(Point.CROSSOVER, {})
    degrees = float(crossover["deg"]) if "deg" in crossover else None
    story.figure(
        reel_section(drum, _drawn_count(last, values), width=SECTION_WIDTH, height=MAX_SECTION_HEIGHT),
        reference_view(drum, half=half_of(crossover) if "half" in crossover else "", degrees=degrees),
        highest=HIGHEST_FIGURE,
        keeps=True,
    )
    story.paragraph(
        "As installed; not to scale. Left: as it was read; the part layer is dark, wraps with a cross are subtracted. "
        "Right: the crossover that was keyed; in the thick arc it subtracts a wrap.",
        style.NOTE,
    )


def _drawn_count(reading: Mapping[str, Any], values: Mapping[str, Any]) -> DrawnCount:
    """The reading as the figure shows it. values: what the technician keyed last at each point."""
    steps = {step["label"]: step for step in reading["working"]["steps"]}
    subtracted = -sum(steps[label]["change"] for label in CORRECTIONS if label in steps)
    left, right = (values.get(point) for point in (Point.SCALE_LEFT, Point.SCALE_RIGHT))
    return DrawnCount(
        layers=steps["Full layers"]["after"], wraps=values[Point.HAND_COUNT],
        taken_off=min(subtracted, values[Point.HAND_COUNT]),
        scales=("" if left is None else str(left), "" if right is None else str(right)),
        open_side=values.get(Point.OPEN_SIDE, ""),
    )  # fmt: skip


def _signatures(story: Story, facts: InspectionFacts) -> None:
    story.table(
        ("Signed by", "Meaning", "Signed at", "SHA-256 of the signed statement"),
        [
            (words.person(each["person"]), each["meaning"], words.time(each["at"]), ledger.digest(statement))
            for each, statement in zip(facts.signatures, facts.statements, strict=True)
        ],
        (1.2, 0.6, 1.2, 2.6),
    )  # fmt: skip
    story.paragraph(
        "Each keyed their password again. A statement names the record's SHA-256, and who signed, when and as what.",
        style.NOTE,
    )
