"""The annex of an inspection's record: how it was counted, each keying of it, and what became of its setup values."""

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from inspections.domain.findings import ReelPart, Remedy, place_in_words
from inspections.domain.reading import Outcome
from inspections.domain.third_reading import AgreesWith
from inspections.domain.words import Point, Role
from reels.domain.reel_figures import DrumSection
from reels.domain.type_rules import NO_LAYER_BEGINS
from reports.pdf import style, words
from reports.pdf.facts import InspectionFacts
from reports.pdf.sheets.setup import setup_values
from reports.pdf.story import Story

CORRECTIONS = ("Crossover correction", "Lead allowance")  # the labels that counting.py gives these steps
MARKS = ("Odd gauge face", "Even gauge face", "Scale of odd numbers", "Scale of even numbers")


def annex(story: Story, facts: InspectionFacts, drum: DrumSection) -> None:
    """Tell it, in the order of the bench."""
    record, situation = facts.record_data, facts.situation_data
    story.heading("Annex: how it was counted", 2)
    _void(story, situation)
    _preparation(story, record, drum)
    _findings(story, record)
    _life(story, situation)
    _people(story, facts)
    for reading in record["readings"]:
        _reading(story, record, reading, drum)
    _referrals(story, record)
    if situation["setup_values"]:
        story.heading(f"Setup values, as they stood on {words.time(situation['at'])}", 2)
    for values in situation["setup_values"]:
        setup_values(story, values)


def _void(story: Story, situation: Mapping[str, Any]) -> None:
    if void := situation["void"]:
        story.notes([
            ("Void asked for", words.done(void["requested_at"], void["requested_by"])),
            ("Void confirmed", words.done(void["confirmed_at"], void["confirmed_by"])),
            ("Reason to void", void["reason"]),
        ])  # fmt: skip


def _preparation(story: Story, record: Mapping[str, Any], drum: DrumSection) -> None:
    prepared, type_ = record["preparation"], record["parameters"]
    is_accepted = type_["unusual"] == "accept"
    unusual = f"accepted under {type_['unusual_publication']}" if is_accepted else "referred to an authorised person"
    graduated = {"every": "every layer at both flanges", "by_side": "odd at the anchor side, even at the other"}
    story.heading("Preparation, and the rules of the type", 3)
    story.facts([
        ("Site", record["reel"]["site"]), ("Machine", record["machine"] or "—"),
        ("Wrap gauge", _gauge(record)), ("Opened by", words.person(record["opened_by"])),
        ("Re-spooled before", "yes" if prepared["respooled"] else "no"), ("Unusual counts", unusual),
        ("Anchor side", type_["anchor_side"]), ("Lead wraps", f"{type_['lead_wraps']}"),
        ("Wraps, odd layer", f"{type_['wraps_odd_layer']}"), ("Wraps, even layer", f"{type_['wraps_even_layer']}"),
        ("Maximum layers", f"{type_['max_layers']}"), ("Scales graduated", graduated[type_["graduation"]]),
        ("Crossover arc", f"{type_['arc_from_deg']}° to {type_['arc_to_deg']}°, seen from the {drum.reference_side}"
         + ("" if type_.get("crossover_begins_layer", True) else NO_LAYER_BEGINS)),
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
        story.heading("Findings, as they stood at the first signature", 3)
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
        story.heading("Life of cable and reel, when counted", 3)
        story.facts([(each["name"], each["spent"]) for each in lives])


def _gauge(record: Mapping[str, Any]) -> str:
    """The wrap gauge with its calibration; records before form 3 name its serial alone."""
    uses = record.get("gauge_uses", [])
    return "; ".join(f"{each['wrap_gauge']}, calibration due {each['calibration_due']}" for each in uses) or (
        record["wrap_gauge"] or "—"
    )


def _people(story: Story, facts: InspectionFacts) -> None:
    by_person = {each["person"]["id"]: each["authorisation"] for each in facts.signatures}
    story.heading("People and authorisations", 3)
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
    story.heading(f"Reading {reading['number']}: {reading['outcome'] or '—'}", 3)
    names = {each["id"]: each["name"] for each in (record["opened_by"], *record["participants"])}
    order = {point.value: i for i, point in enumerate(Point)}
    keyed = sorted(reading["keyed"], key=lambda row: (order[row["point"]], row["attempt"]))
    by_role = {role: [row for row in keyed if row["role"] == role] for role in (Role.TECHNICIAN, Role.VERIFIER)}
    day = words.one_day([row["keyed_at"] for row in keyed])
    alone = {role: _alone(rows, names) for role, rows in by_role.items()}
    rows = [
        _keyed_row(point, attempt, {row["role"]: row for row in both}, alone, names, drum, has_day=bool(day))
        for (point, attempt), both in groupby(keyed, key=lambda row: (row["point"], row["attempt"]))
    ]
    if rows:
        if day:
            story.paragraph(f"Keyed on {day}.", style.CAPTION)
        heads = [head for role in by_role for head in (f"{role.capitalize()}{alone[role]}", "When")]
        story.table(("Hold point", "Attempt", *heads), rows, (1.25, 0.72, *(1.6, 0.8 if day else 1.4) * 2))
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
        story.paragraph("Problems", style.PART)
        for problem in working["problems"]:
            story.paragraph(f"• {problem['detail']}")
    if working["steps"]:
        story.paragraph("Calculation", style.PART)
        columns = ("label", "before", "change", "after", "why")
        story.calculation([tuple(step[name] for name in columns) for step in working["steps"]])
    if reading["outcome"] == Outcome.ACCEPTED:
        changes = {step["label"]: step["change"] for step in working["steps"]}
        applied = [f"{label.lower()} {words.signed(changes[label])}" for label in CORRECTIONS if label in changes]
        count = words.count_words(working["layers"], working["wraps"], working["parity"])
        unusual = f" Unusual: {words.spaced(working['unusual'])}." if working["unusual"] else ""
        story.paragraph(f"Corrections in wraps: {', '.join(applied)}. Setup values: {count}.{unusual}")
    if accepted := reading.get("surprise_accepted"):  # records of form 1 do not have it
        story.paragraph("Outlier, accepted", style.PART)
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


def _alone(rows: list[Mapping[str, Any]], names: Mapping[int, str]) -> str:
    """Who keyed all of a role's rows, for its heading; nothing where it was more than one."""
    people = {_who(row, names) for row in rows}
    return f": {people.pop()}" if len(people) == 1 else ""


def _who(row: Mapping[str, Any], names: Mapping[int, str]) -> str:
    person, keyed_by = (names.get(row[key], f"person no. {row[key]}") for key in ("person", "keyed_by"))
    return person if row["keyed_by"] == row["person"] else f"{person}, keyed by {keyed_by}"


def _keyed_row(
    point: str, attempt: int, by_role: Mapping[str, Mapping[str, Any]], alone: Mapping[Role, str],
    names: Mapping[int, str], drum: DrumSection, *, has_day: bool,
) -> tuple[str, ...]:  # fmt: skip
    """A hold point with what each keyed and when. alone, has_day: what the head says of all rows is left out."""
    cells = []
    for role, named in alone.items():
        if (row := by_role.get(role)) is None:
            cells += ["—", "—"]
            continue
        when = words.clock(row["keyed_at"]) if has_day else words.time(row["keyed_at"])
        cells += [words.at_point(point, row["value"], drum), when if named else f"{when}, {_who(row, names)}"]
    return (words.POINTS[Point(point)], f"{attempt}", *cells)


def _referrals(story: Story, record: Mapping[str, Any]) -> None:
    if record["referrals"]:
        story.heading("Referrals", 3)
    for each in record["referrals"]:
        proposed = each["proposed"] or {"layers": None, "wraps": None, "parity": None}
        story.facts([
            ("Referred", words.done(each["referred_at"], each["referred_by"])),
            ("Proposed", words.count_words(proposed["layers"], proposed["wraps"], proposed["parity"])),
            ("Decided", words.done(each["released_at"], each["released_by"])),
            ("Decision", words.spaced(each["decision"])),
        ])  # fmt: skip
        story.notes([("Reason to refer", each["why"]), ("Reason to decide", each["reason"] or "—")])
