"""The record of an inspection as a person reads it, and the file that is kept of it."""

from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.metadata import version
from itertools import groupby
from typing import Any

from inspections.domain.findings import ReelPart, Remedy, place_in_words
from inspections.domain.keying import half_of
from inspections.domain.reading import Outcome
from inspections.domain.third_reading import AgreesWith
from inspections.domain.words import Point, Role
from reels.domain import ledger
from reels.domain.cautions import CAUTIONS
from reels.domain.reel_figures import DrawnCount, DrumSection, drum_of, reel_section, reference_view
from reels.domain.type_rules import NO_LAYER_BEGINS
from reports.pdf import style, words
from reports.pdf.document import HeaderAndFooter, TaggedPages, lay_out
from reports.pdf.facts import InspectionFacts
from reports.pdf.fonts import is_printable
from reports.pdf.pdfa import Part, write_pdfa
from reports.pdf.sheets.setup import count_stands, setup_values
from reports.pdf.story import Story

# Goes up by one with any change that changes the pages' bytes. A document names the form that it was made with, and
# only pages of the same form are drawn up again and compared (examination.py). A test holds the bytes of each form.
FORM = "15"
CORRECTIONS = ("Crossover correction", "Lead allowance")  # the labels that counting.py gives these steps
SECTION_WIDTH, MAX_SECTION_HEIGHT = 250.0, 190.0
MARKS = ("Odd gauge face", "Even gauge face", "Scale of odd numbers", "Scale of even numbers")
NOT_SHOWN = (
    "Characters that these pages can't show stand by their code points, in square brackets. The attached record.json "
    "has them as they were keyed."
)


@cache
def library_versions() -> dict[str, str]:
    """What the bytes of a document depend on besides its facts."""
    return {"form": FORM, "reportlab": version("reportlab"), "pikepdf": version("pikepdf")}


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
    number, serial = record["inspection"], record["reel"]["serial"]
    around = HeaderAndFooter(
        header=(f"Inspection record {number} · reel {serial}", words.spaced(situation["state"]).upper()),
        footer=(
            f"Record {number} · drawn up {words.time(situation['at'])} from what was recorded by then",
            "SHA-256 of the record:",
            facts.record_digest,
            "The record, the signed statements and the situation are attached to this file.",
        ),
        qr_text=f"inspection {number} sha256 {facts.record_digest}",
    )
    title, subject = f"Inspection {number} of reel {serial}", f"Record of a count, SHA-256 {facts.record_digest}"
    return lay_out(story_of(facts), around, title=title, subject=subject)


def story_of(facts: InspectionFacts) -> Story:
    record, situation = facts.record_data, facts.situation_data
    story, drum = Story(), drum_of(record["parameters"], situation["reference_side"])
    _title(story, facts)
    _result(story, record, situation, drum)
    _reel_and_preparation(story, record, drum)
    _findings(story, record)
    _life(story, situation)
    _people(story, facts)
    for reading in record["readings"]:
        _reading(story, record, reading, drum)
    _referrals(story, record)
    story.heading(f"Setup values, as they stood on {words.time(situation['at'])}", 2)
    if not situation["setup_values"]:
        story.paragraph("None were issued from this inspection.")
    for values in situation["setup_values"]:
        setup_values(story, values)
    _signatures(story, facts)
    story.heading("Cautions", 2)
    for caution in CAUTIONS:
        story.paragraph(f"• {caution}")
    return story


def _title(story: Story, facts: InspectionFacts) -> None:
    record, situation = facts.record_data, facts.situation_data
    story.heading(f"Inspection {record['inspection']}: count of reel {record['reel']['serial']}", 1)
    when = f"Counted {words.time(record['done_at'])}, recorded {words.time(record['recorded_at'])}"
    story.paragraph(f"{when}{', from paper' if record['from_paper'] else ''}.", style.NOTE)
    if not all(is_printable(each.decode()) for each in facts.attachments.values()):
        story.paragraph(NOT_SHOWN, style.NOTE)
    if void := situation["void"]:
        requested = f"{words.person(void['requested_by'])} on {words.time(void['requested_at'])}"
        if void["confirmed_by"]:
            confirmed = f"{words.person(void['confirmed_by'])} on {words.time(void['confirmed_at'])}"
            state = f"VOIDED. Requested by {requested}, confirmed by {confirmed}."
        else:
            state = f"Void requested by {requested}, not confirmed by a second person yet."
        story.paragraph(f"{state} Reason: {void['reason']}", style.BANNER)


def _result(story: Story, record: Mapping[str, Any], situation: Mapping[str, Any], drum: DrumSection) -> None:
    story.heading("Result", 2)
    story.result(record["result"])
    story.paragraph(f"Readings: {len(record['readings'])}. Rereads: {record['rereads']}.", style.NOTE)
    if length := situation["length"]:  # none where the drum of the type, as it is now, cannot hold the count
        story.paragraph(
            f"Cable on the drum by this count: {words.length(length)} (standard uncertainty), calculated from the "
            "dimensions of the reel type when this document was made, without the lead.",
            style.NOTE,
        )
    story.paragraph(f"This record, on {words.time(situation['at'])}: {count_stands(situation)}.")
    last = record["readings"][-1]
    values = {keyed["point"]: keyed["value"] for keyed in last["keyed"] if keyed["role"] == Role.TECHNICIAN}
    if Point.HAND_COUNT not in values or not last["working"]["steps"]:
        return
    crossover = values.get(Point.CROSSOVER, {})
    degrees = float(crossover["deg"]) if "deg" in crossover else None
    story.figure(
        reel_section(drum, _drawn_count(last, values), width=SECTION_WIDTH, height=MAX_SECTION_HEIGHT),
        reference_view(drum, half=half_of(crossover) if "half" in crossover else "", degrees=degrees),
    )
    story.paragraph(
        "The reel as it sits when installed. Left: as it was read, facing the scale line; the part layer is dark, and "
        "wraps with a cross are subtracted. Right: from the reference side, with the crossover that was keyed; in the "
        "thick arc it subtracts a wrap. Not to scale.",
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


def _reel_and_preparation(story: Story, record: Mapping[str, Any], drum: DrumSection) -> None:
    reel, prepared, type_ = record["reel"], record["preparation"], record["parameters"]
    respooled = "yes" if prepared["respooled"] else "no"
    is_accepted = type_["unusual"] == "accept"
    unusual = f"accepted under {type_['unusual_publication']}" if is_accepted else "referred to an authorised person"
    graduated = {"every": "every layer at both flanges", "by_side": "odd at the anchor side, even at the other"}
    story.heading("Reel and preparation", 2)
    numbers = {"part_number": "Part number", "cable_part_number": "Cable part number", "cable_serial": "Cable serial"}
    story.facts([
        ("Reel", reel["serial"]), ("Reel type", reel["type"]),
        *((name, reel[key]) for key, name in numbers.items() if reel.get(key)),  # earlier records tell of none
        ("Site", reel["site"]), ("Machine", record["machine"] or "—"),
        ("Wrap gauge", _gauge(record)), ("Work order", prepared["work_order"]),
        ("Publication", prepared["publication"]), ("Revision", prepared["publication_revision"]),
        ("Re-spooled before", respooled), ("Opened by", words.person(record["opened_by"])),
        ("Anchor side", type_["anchor_side"]), ("Lead wraps", f"{type_['lead_wraps']}"),
        ("Wraps, odd layer", f"{type_['wraps_odd_layer']}"), ("Wraps, even layer", f"{type_['wraps_even_layer']}"),
        ("Maximum layers", f"{type_['max_layers']}"), ("Scales graduated", graduated[type_["graduation"]]),
        ("Crossover arc", f"{type_['arc_from_deg']}° to {type_['arc_to_deg']}°, seen from the {drum.reference_side}"
         + ("" if type_.get("crossover_begins_layer", True) else NO_LAYER_BEGINS)),
        ("Unusual counts", unusual),
        ("Scale line", drum.scale_line_at.spoken), ("Wound", drum.winding_sense.spoken),
        *((name, mark) for name, mark in zip(MARKS, (*drum.face_marks, *drum.scale_marks), strict=True) if mark),
    ])  # fmt: skip
    notes = _condition(prepared)
    if why := prepared.get("publication_reason"):
        notes.append(("Publication not in force", why))
    story.notes(notes)
    story.paragraph(
        "Confirmed before the first step: the cautions; the reel off the machine, on its stand and turned as "
        "installed; anchor side and forward mark found.",
        style.NOTE,
    )


def _condition(prepared: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What each part was found; records before form 5 say it in words, of the cable and the winding."""
    judged = {part: prepared.get(f"{part}_sound") for part in ReelPart}
    if None in judged.values():
        return [("Cable condition", prepared["cable_condition"]), ("Winding quality", prepared["winding_quality"])]
    return [
        (state, ", ".join(part.spoken for part, is_sound in judged.items() if is_sound is verdict))
        for state, verdict in (("Found sound", True), ("Not sound", False)) if verdict in judged.values()
    ]  # fmt: skip


def _findings(story: Story, record: Mapping[str, Any]) -> None:
    """What was open at the count or recorded at it, as it stood when the record was signed first."""
    if record.get("findings"):
        story.heading("Findings, as they stood at the first signature", 2)
    for each in record.get("findings", []):
        place = place_in_words(
            each["layer"], each["side"], each["visible_wrap"], words.metres(each["length_from_end_m"])
        )
        notes = [
            (f"Finding {each['finding']}",
             f"{each['kind_words']} ({ReelPart(each['part']).spoken}), a {each['severity']}"),
            ("Where", place or "not said"), ("What was seen", each["words"]),
            ("Recorded", words.done(each["recorded_at"], each["recorded_by"])),
        ]  # fmt: skip
        if each["lowered_at"]:
            by = words.done(each["lowered_at"], each["lowered_by"])
            notes.append(("Made a watch", f"{each['lower_reason']} ({by})"))
        if each["closed_at"]:
            by = words.done(each["closed_at"], each["closed_by"])
            notes.append(("Closed", f"{Remedy(each['remedy']).spoken}: {each['close_reason']} ({by})"))
        if each["photo"]:
            notes.append(("Photo", f"SHA-256 {each['photo']}"))
        story.notes(notes)


def _life(story: Story, situation: Mapping[str, Any]) -> None:
    """What was spent by the count of the lives that the type limits."""
    if lives := situation.get("life"):
        story.heading("Life of cable and reel, when counted", 2)
        story.facts([(each["name"], each["spent"]) for each in lives])


def _gauge(record: Mapping[str, Any]) -> str:
    """The wrap gauge with its calibration; records before form 3 name its serial alone."""
    uses = record.get("gauge_uses", [])
    return "; ".join(f"{each['wrap_gauge']}, calibration due {each['calibration_due']}" for each in uses) or (
        record["wrap_gauge"] or "—"
    )


def _people(story: Story, facts: InspectionFacts) -> None:
    by_person = {each["person"]["id"]: each["authorisation"] for each in facts.signatures}
    story.heading("People and authorisations", 2)
    story.table(
        ("Person", "User name", "Role", "Joined", "Signed under authorisation"),
        [
            (words.person(each), each["username"], each["role"], words.time(each["joined_at"]),
             _authorisation(by_person.get(each["id"])))
            for each in facts.record_data["participants"]
        ],
        (1.5, 0.8, 0.75, 1.25, 2),
    )  # fmt: skip


def _authorisation(each: Mapping[str, Any] | None) -> str:
    if each is None:
        return "did not sign"
    until = words.time(each["valid_until"]) if each["valid_until"] else "further notice"
    return (
        f"{each['act']}, no. {each['id']}; type {each['reel_type'] or 'any'}, site {each['site'] or 'any'}; "
        f"{words.time(each['valid_from'])} until {until}"
    )


# Readings -----------------------------------------------------------------------------------------------------------


def _reading(story: Story, record: Mapping[str, Any], reading: Mapping[str, Any], drum: DrumSection) -> None:
    story.heading(f"Reading {reading['number']}: {reading['outcome'] or '—'}", 2)
    names = {each["id"]: each["name"] for each in (record["opened_by"], *record["participants"])}
    order = {point.value: i for i, point in enumerate(Point)}
    keyed = sorted(reading["keyed"], key=lambda row: (order[row["point"]], row["attempt"]))
    rows = [
        _keyed_row(point, attempt, {row["role"]: row for row in both}, names, drum)
        for (point, attempt), both in groupby(keyed, key=lambda row: (row["point"], row["attempt"]))
    ]
    if rows:
        header = ("Hold point", "Attempt", "Technician keyed", "When, by", "Verifier keyed", "When, by")
        story.table(header, rows, (1.25, 0.72, 1.25, 1.4, 1.25, 1.4))
    story.notes([
        (f"Third reading: {words.POINTS[Point(row['point'])].lower()}", _third(row))
        for row in reading.get("third_readings", ())  # records before form 6 do not tell of them
    ])  # fmt: skip
    story.notes([
        (f"Photo: {words.POINTS[Point(row['point'])].lower()}",
         f"by the {row['role']}, attempt {row['attempt']}; SHA-256 {row['photo']}")
        for row in keyed if row.get("photo")
    ])  # fmt: skip
    working = reading["working"] or {"problems": [], "steps": []}
    if working["problems"]:
        story.heading("Problems", 3)
        for problem in working["problems"]:
            story.paragraph(f"• {problem['detail']}")
    if working["steps"]:
        story.heading("Calculation", 3)
        columns = ("label", "before", "change", "after", "why")
        story.calculation([tuple(step[name] for name in columns) for step in working["steps"]])
    if reading["outcome"] == Outcome.ACCEPTED:
        changes = {step["label"]: step["change"] for step in working["steps"]}
        applied = [f"{label.lower()} {words.signed(changes[label])}" for label in CORRECTIONS if label in changes]
        count = words.count_words(working["layers"], working["wraps"], working["parity"])
        unusual = f" Unusual: {words.spaced(working['unusual'])}." if working["unusual"] else ""
        story.paragraph(f"Corrections in wraps: {', '.join(applied)}. Setup values: {count}.{unusual}")
    if accepted := reading.get("surprise_accepted"):  # records of form 1 do not have it
        story.heading("Outlier, accepted", 3)
        by = words.done(accepted["accepted_at"], accepted["accepted_by"])
        story.notes([("Evaluation", accepted["told"]), ("Reason to accept", accepted["reason"]), ("Accepted", by)])


def _third(row: Mapping[str, Any]) -> str:
    asked = f"attempt {row['attempt']}; asked for at {words.done(row['asked_at'], row['asked_by'])}"
    if row["read_at"] is None:
        back = row["taken_back_at"]
        return f"{asked}; {f'taken back {words.time(back)}' if back else 'not made'}"
    number = "left out" if row["value"] is None else str(row["value"])
    whose = AgreesWith(row["agrees_with"]).spoken
    return f"{asked}; read at {words.done(row['read_at'], row['read_by'])}: {number}, which agrees with {whose}"


def _keyed_row(
    point: str, attempt: int, by_role: Mapping[str, Mapping[str, Any]], names: Mapping[int, str], drum: DrumSection
) -> tuple[str, ...]:
    cells = []
    for role in (Role.TECHNICIAN, Role.VERIFIER):
        if (row := by_role.get(role)) is None:
            cells += ["—", "—"]
            continue
        person, keyed_by = (names.get(row[key], f"person no. {row[key]}") for key in ("person", "keyed_by"))
        who = person if row["keyed_by"] == row["person"] else f"{person}, keyed by {keyed_by}"
        cells += [words.at_point(point, row["value"], drum), f"{words.time(row['keyed_at'])}, {who}"]
    return (words.POINTS[Point(point)], f"{attempt}", *cells)


def _referrals(story: Story, record: Mapping[str, Any]) -> None:
    if record["referrals"]:
        story.heading("Referrals", 2)
    for each in record["referrals"]:
        proposed = each["proposed"] or {"layers": None, "wraps": None, "parity": None}
        story.facts([
            ("Referred", words.done(each["referred_at"], each["referred_by"])),
            ("Proposed", words.count_words(proposed["layers"], proposed["wraps"], proposed["parity"])),
            ("Decided", words.done(each["released_at"], each["released_by"])),
            ("Decision", words.spaced(each["decision"])),
        ])  # fmt: skip
        story.notes([("Reason to refer", each["why"]), ("Reason to decide", each["reason"] or "—")])


def _signatures(story: Story, facts: InspectionFacts) -> None:
    story.heading("Signatures", 2)
    story.table(
        ("Name", "Meaning", "Signed at", "SHA-256 of the statement"),
        [
            (words.person(each["person"]), each["meaning"], words.time(each["at"]), ledger.digest(statement))
            for each, statement in zip(facts.signatures, facts.statements, strict=True)
        ],
        (1.3, 0.7, 1.2, 2.1),
    )  # fmt: skip
    story.paragraph(
        "Each signer entered their own password again to sign. Each statement names the signer, the time, the meaning, "
        f"the authorisation and the SHA-256 of the record, {facts.record_digest}.",
        style.NOTE,
    )
