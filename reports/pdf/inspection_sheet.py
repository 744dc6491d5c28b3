"""The record of an inspection as a person reads it."""

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from inspections.domain.reading import Outcome
from inspections.domain.words import Point, Role
from reels.domain import ledger
from reels.domain.cautions import CAUTIONS
from reels.domain.reel_figures import Drum, ReadOff, crossover_circle, reel_section
from reels.domain.words import Side
from reports.pdf import style, words
from reports.pdf.document import HeaderAndFooter, TaggedPages, lay_out
from reports.pdf.facts import InspectionFacts
from reports.pdf.flowables import Story

CORRECTIONS = ("Crossover correction", "Lead allowance")  # the labels that counting.py gives these steps
STEP_WIDTHS = (0.23, 0.09, 0.09, 0.09, 0.5)
MOST_SECTION_HEIGHT = 170.0
NOT_SHOWN = (
    "Characters that these pages can't show stand by their code points, in square brackets. The attached record.json "
    "has them as they were keyed."
)


def render_inspection(facts: InspectionFacts) -> TaggedPages:
    """The pages of an inspection's record. The same facts give the same bytes."""
    said = facts.said
    return lay_out(
        story_of(facts),
        _furniture(facts),
        title=f"Inspection {said['inspection']} of reel {said['reel']['serial']}",
        subject=f"Record of a count, SHA-256 {facts.record_digest}",
    )


def story_of(facts: InspectionFacts) -> Story:
    """What the pages say, in order."""
    said, stood = facts.said, facts.stood
    story = Story()
    _title(story, facts)
    _result(story, said, facts.stood)
    _reel_and_preparation(story, said, stood)
    _people(story, facts)
    for reading in said["readings"]:
        _reading(story, said, reading)
    _referrals(story, said)
    _setup_values(story, stood)
    _signatures(story, facts)
    story.heading("Cautions", 2)
    for caution in CAUTIONS:
        story.paragraph(f"• {caution}")
    return story


def _furniture(facts: InspectionFacts) -> HeaderAndFooter:
    said, stood = facts.said, facts.stood
    number = said["inspection"]
    return HeaderAndFooter(
        head=(f"Inspection record {number} · reel {said['reel']['serial']}", words.spoken(stood["state"]).upper()),
        foot=(
            f"Record {number} · drawn up {words.time(stood['at'])} from what was recorded by then",
            "SHA-256 of the record:",
            facts.record_digest,
            "The record itself, what was signed and the situation are attached to this file.",
        ),
        code=f"inspection {number} sha256 {facts.record_digest}",
    )


def _title(story: Story, facts: InspectionFacts) -> None:
    said, stood = facts.said, facts.stood
    story.heading(f"Inspection {said['inspection']}: count of reel {said['reel']['serial']}", 1)
    when = f"Done {words.time(said['done_at'])}, recorded {words.time(said['recorded_at'])}"
    story.paragraph(f"{when}{', from paper' if said['from_paper'] else ''}. All times are UTC.", style.NOTE)
    if not facts.is_printable:
        story.paragraph(NOT_SHOWN, style.NOTE)
    if void := stood["void"]:
        confirmed = (
            f"confirmed by {words.person(void['confirmed_by'])} on {words.time(void['confirmed_at'])}"
            if void["confirmed_by"]
            else "not confirmed by a second person yet"
        )
        story.paragraph(
            f"{'VOIDED' if void['confirmed_by'] else 'Void asked for'}. Asked by {words.person(void['requested_by'])} "
            f"on {words.time(void['requested_at'])}, {confirmed}. Reason: {void['reason']}",
            style.BANNER,
        )


def _result(story: Story, said: Mapping[str, Any], stood: Mapping[str, Any]) -> None:
    result = said["result"]
    story.heading("Result", 2)
    story.numbers((("Layers", result["layers"]), ("Wraps", result["wraps"]), ("Layers are", result["parity"])))
    story.paragraph(f"Readings: {len(said['readings'])}. Rereads: {said['rereads']}.", style.NOTE)
    if length := stood.get("length"):  # the documents of some older versions do not tell it
        story.paragraph(
            f"Cable on the drum by this count: {words.length(length)} (standard uncertainty), worked out from the "
            "dimensions of the reel type as they stood when this document was made; the lead is not in it.",
            style.NOTE,
        )
    last = said["readings"][-1]
    values = _values(last, Role.TECHNICIAN)
    drum = drum_of(said["parameters"])
    if Point.HAND_COUNT not in values or not last["working"]["steps"]:
        return
    crossover = values.get(Point.CROSSOVER, {})
    story.figure(
        reel_section(drum, _read_off(last, values), width=style.WIDTH - 156, height=MOST_SECTION_HEIGHT),
        crossover_circle(
            drum,
            "",
            half=crossover.get("half", ""),
            degrees=float(crossover["deg"]) if "deg" in crossover else None,
        ),
    )
    story.paragraph(
        "Left: the reel at the scale line as it was read, as installed and looking forward; the part layer is dark, "
        "wraps with a cross are taken off. Right: the crossover, counter-clockwise from the scale line; the thick arc "
        "is where it takes a wrap off. Not to scale.",
        style.NOTE,
    )


def drum_of(parameters: Mapping[str, Any]) -> Drum:
    """The drum of a reel type, from the parameters that an inspection keeps."""
    return Drum(
        anchor_side=Side(parameters["anchor_side"]),
        wraps_odd_layer=parameters["wraps_odd_layer"],
        wraps_even_layer=parameters["wraps_even_layer"],
        max_layers=parameters["max_layers"],
        arc_from_deg=float(parameters["arc_from_deg"]),
        arc_to_deg=float(parameters["arc_to_deg"]),
    )


def _values(reading: Mapping[str, Any], role: Role) -> dict[str, Any]:
    """What somebody keyed last at each point."""
    return {keyed["point"]: keyed["value"] for keyed in reading["keyed"] if keyed["role"] == role}


def _read_off(reading: Mapping[str, Any], values: Mapping[str, Any]) -> ReadOff:
    steps = {step["label"]: step for step in reading["working"]["steps"]}
    taken = -sum(steps[label]["change"] for label in CORRECTIONS if label in steps)
    scales = [values.get(point) for point in (Point.SCALE_LEFT, Point.SCALE_RIGHT)]
    left, right = ("" if scale is None else str(scale) for scale in scales)
    return ReadOff(
        layers=steps["Full layers"]["after"],
        wraps=values[Point.HAND_COUNT],
        taken_off=min(taken, values[Point.HAND_COUNT]),
        scales=(left, right),
    )


def _reel_and_preparation(story: Story, said: Mapping[str, Any], stood: Mapping[str, Any]) -> None:
    reel, prepared, type_ = said["reel"], said["preparation"], said["parameters"]
    story.heading("Reel and preparation", 2)
    story.facts([
        ("Reel", reel["serial"]), ("Reel type", reel["type"]),
        ("Site", reel["site"]), ("Machine", words.said(said["machine"])),
        ("Wrap gauge", said["wrap_gauge"]), ("Work order", prepared["work_order"]),
        ("Publication", prepared["publication"]), ("Revision", prepared["publication_revision"]),
        ("Re-spooled first", words.yes(prepared["respooled"])), ("Opened by", words.person(said["opened_by"])),
        ("Anchor side", type_["anchor_side"]), ("Lead wraps", f"{type_['lead_wraps']}"),
        ("Wraps, odd layer", f"{type_['wraps_odd_layer']}"), ("Wraps, even layer", f"{type_['wraps_even_layer']}"),
        ("Most layers", f"{type_['max_layers']}"), ("Scales graduated", _GRADUATION[type_["graduation"]]),
        ("Arc", f"{type_['arc_from_deg']}° to {type_['arc_to_deg']}°, seen from the {stood['reference_side']}"),
        ("Unusual counts", _unusual(type_)),
    ])  # fmt: skip
    story.notes([("Cable condition", prepared["cable_condition"]), ("Winding quality", prepared["winding_quality"])])
    story.paragraph(
        "Confirmed before the first step: the cautions; the reel off the machine, on its stand and turned as "
        "installed; anchor side and forward mark found; the cable wound evenly.",
        style.NOTE,
    )


_GRADUATION = {"every": "every layer at both flanges", "by_side": "odd at the anchor side, even at the other"}


def _unusual(parameters: Mapping[str, Any]) -> str:
    if parameters["unusual"] == "accept":
        return f"accepted, by {parameters['unusual_publication']}"
    return "held for an authorised person"


def _people(story: Story, facts: InspectionFacts) -> None:
    by_person = {each["person"]["id"]: each["authorisation"] for each in facts.signatures}
    story.heading("People and authorisations", 2)
    story.table(
        ("Person", "User name", "Part", "Took part from", "Signed by authorisation"),
        [
            (words.person(each), each["username"], each["role"], words.time(each["joined_at"]),
             _authorisation(by_person.get(each["id"])))
            for each in facts.said["participants"]
        ],
        (1.5, 0.8, 0.75, 1.25, 2),
    )  # fmt: skip


def _authorisation(given: Mapping[str, Any] | None) -> str:
    if given is None:
        return "did not sign"
    until = words.time(given["valid_until"]) if given["valid_until"] else "further notice"
    return (
        f"{given['act']}, no. {given['id']}; type {given['reel_type'] or 'any'}, site {given['site'] or 'any'}; "
        f"{words.time(given['valid_from'])} until {until}"
    )


# Readings -----------------------------------------------------------------------------------------------------------


def _reading(story: Story, said: Mapping[str, Any], reading: Mapping[str, Any]) -> None:
    outcome = words.said(reading["outcome"])
    story.heading(f"Reading {reading['number']}: {outcome}", 2)
    names = {each["id"]: each["name"] for each in (said["opened_by"], *said["participants"])}
    order = {point.value: i for i, point in enumerate(Point)}
    keyed = sorted(reading["keyed"], key=lambda row: (order[row["point"]], row["attempt"]))
    rows = [
        _keyed_row(point, attempt, {row["role"]: row for row in both}, names)
        for (point, attempt), both in groupby(keyed, key=lambda row: (row["point"], row["attempt"]))
    ]
    if rows:
        header = ("Point", "Attempt", "Technician keyed", "at, by", "Verifier keyed", "at, by")
        story.table(header, rows, (1.25, 0.72, 1.25, 1.4, 1.25, 1.4))
    if photos := [_photo(row) for row in keyed if row.get("photo")]:
        story.notes(photos)
    working = reading["working"] or {"problems": [], "steps": []}
    if working["problems"]:
        story.heading("What did not fit", 3)
        for problem in working["problems"]:
            story.paragraph(f"• {problem['detail']}")
    if working["steps"]:
        story.heading("Worked out", 3)
        steps = [
            (each["label"], f"{each['before']}", words.signed(each["change"]), f"{each['after']}", each["why"])
            for each in working["steps"]
        ]
        story.table(("Step", "Before", "Change", "After", "Why"), steps, STEP_WIDTHS)
    if reading["outcome"] == Outcome.ACCEPTED:
        _corrections(story, working)
    if accepted := reading.get("surprise_accepted"):  # records of form 1 do not have it
        story.heading("Surprising, and accepted", 3)
        by = f"{words.person(accepted['accepted_by'])}, {words.time(accepted['accepted_at'])}"
        story.notes([("What was said", accepted["told"]), ("Why it stands", accepted["reason"]), ("Accepted by", by)])


def _photo(row: Mapping[str, Any]) -> tuple[str, str]:
    point = words.POINTS[Point(row["point"])].lower()
    return (f"Photo: {point}", f"by the {row['role']}, attempt {row['attempt']}; SHA-256 {row['photo']}")


def _keyed_row(
    point: str, attempt: int, by_role: Mapping[str, Mapping[str, Any]], names: Mapping[int, str]
) -> tuple[str, ...]:
    cells = []
    for role in (Role.TECHNICIAN, Role.VERIFIER):
        row = by_role.get(role)
        if row is None:
            cells += ["—", "—"]
            continue
        typed = "" if row["keyed_by"] == row["person"] else f", typed in by {_name(names, row['keyed_by'])}"
        cells += [
            words.at_point(point, row["value"]),
            f"{words.time(row['keyed_at'])}, {_name(names, row['person'])}{typed}",
        ]
    return (words.POINTS[Point(point)], f"{attempt}", *cells)


def _name(names: Mapping[int, str], person: int) -> str:
    return names.get(person, f"person no. {person}")


def _corrections(story: Story, working: Mapping[str, Any]) -> None:
    changes = {step["label"]: step["change"] for step in working["steps"]}
    told = [f"{label.lower()} {words.signed(changes[label])}" for label in CORRECTIONS if label in changes]
    unusual = f" Unusual: {words.spoken(working['unusual'])}." if working["unusual"] else ""
    story.paragraph(
        f"Corrections in wraps: {', '.join(told)}. Setup values: "
        f"{words.count_words(working['layers'], working['wraps'], working['parity'])}.{unusual}"
    )


def _referrals(story: Story, said: Mapping[str, Any]) -> None:
    if not said["referrals"]:
        return
    story.heading("Referred", 2)
    for each in said["referrals"]:
        story.facts([
            ("Referred", f"{words.time(each['referred_at'])}, {words.person(each['referred_by'])}"),
            ("Proposed", _proposed(each["proposed"])),
            ("Released", f"{words.time(each['released_at'])}, {words.person(each['released_by'])}"),
            ("Decision", words.said(words.spoken(each["decision"]))),
        ])  # fmt: skip
        story.notes([("Why", each["why"]), ("Reason", words.said(each["reason"]))])


def _proposed(count: Mapping[str, Any] | None) -> str:
    return words.count_words(count["layers"], count["wraps"], count["parity"]) if count else "—"


# Setup values and signatures ----------------------------------------------------------------------------------------


def _setup_values(story: Story, stood: Mapping[str, Any]) -> None:
    story.heading(f"Setup values, as they stood on {words.time(stood['at'])}", 2)
    if not stood["setup_values"]:
        story.paragraph("None were issued from this inspection.")
    for values in stood["setup_values"]:
        setup_values(story, values)


def setup_values(story: Story, values: Mapping[str, Any]) -> None:
    """Setup values with all that was done with them."""
    count = words.count_words(values["layers"], values["wraps"], values["parity"])
    story.heading(f"{count} for machine {values['machine']}", 3)
    story.facts([
        ("Issued", _done(values, "issued")), ("Wrap gauge back", _done(values, "gauge_returned")),
        ("Set", _done(values, "set")), ("Confirmed", _done(values, "confirmed")),
        ("Withdrawn", _done(values, "withdrawn")), ("Why", words.said(values["withdrawn_why"])),
    ])  # fmt: skip
    rows = [*map(_read_back_row, values["read_backs"]), *map(_check_row, values["checks"])]
    if rows:
        story.table(("What", "Shown", "Verdict", "By", "When"), rows, (1.1, 1.2, 1, 1.2, 1.3))


def _read_back_row(each: Mapping[str, Any]) -> tuple[str, ...]:
    verdict = "as issued" if each["matches"] else "DIFFERS, refused"
    shown = words.count_words(each["layers"], each["wraps"])
    return (f"read back, {each['role']}", shown, verdict, words.person(each["keyed_by"]), words.time(each["keyed_at"]))


def _check_row(each: Mapping[str, Any]) -> tuple[str, ...]:
    verdict = "passed" if each["passed"] else "FAILED"
    return (
        each["kind"],
        words.said(each["remark"]),
        verdict,
        words.person(each["done_by"]),
        words.time(each["done_at"]),
    )


def _done(values: Mapping[str, Any], act: str) -> str:
    if not values[f"{act}_at"]:
        return "—"
    return f"{words.time(values[f'{act}_at'])}, {words.person(values[f'{act}_by'])}"


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
        f"Each signer gave their own password again. Each statement names the signer, the time, the meaning, the "
        f"authorisation and the SHA-256 of the record, {facts.record_digest}.",
        style.NOTE,
    )
