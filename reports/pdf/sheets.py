"""The other sheets: a blank worksheet, the setup card, a reel's history. They are drawn up on demand, and not kept."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from reels.domain.cautions import CAUTIONS
from reels.domain.reel_figures import ReadOff, crossover_circle, reel_section
from reels.domain.words import counted
from reports.pdf import style, words
from reports.pdf.archive import archived
from reports.pdf.document import HeaderAndFooter, lay_out
from reports.pdf.facts import HistoryLine, SetupCard
from reports.pdf.flowables import Story
from reports.pdf.inspection_sheet import drum_of, setup_values

WORKSHEET_HEAD = (
    "Reel", "Site", "Machine", "Wrap gauge", "Work order", "Publication, rev.", "Technician/verifier", "Date, time",
)  # fmt: skip
READING_STEPS = (
    ("1", "Flange scale, left", "layers, or “left out”"),
    ("2", "Flange scale, right", "layers, or “left out”"),
    ("3", "Open side", "left, right or none"),
    ("4", "Unwind direction", "left to right, or right to left"),
    ("5", "Hand count at the scale line", "wraps"),
    ("6", "Wrap gauge: face", "odd or even"),
    ("7", "Wrap gauge: reading", "wraps"),
    ("8", "Crossover", "aft or forward half"),
)


# Blank worksheet ----------------------------------------------------------------------------------------------------


def worksheet(parameters: Mapping[str, Any], reference_side: str, *, at: datetime) -> bytes:
    """A sheet on which one person notes a reading of a reel of this type, and works it out."""
    story = Story()
    code = parameters["type"]
    story.heading(f"Worksheet: count of a reel of type {code}", 1)
    story.paragraph(
        "One sheet for each person. Do not show it to the other one before both are filled in. What counts is what is "
        "keyed into the service afterwards, under each person's own login.",
        style.BANNER,
    )
    story.facts([(name, "") for name in WORKSHEET_HEAD], blank=True)
    _type_pictures(story, parameters, reference_side)
    story.heading("Before the first step", 2)
    for line in (*CAUTIONS, "Anchor side and forward mark found; cable condition and winding looked at."):
        story.paragraph(f"☐ {line}")
    reading_table(story)
    working_table(story, parameters)
    story.heading("Name and signature", 2)
    story.facts([("Name", ""), ("Staff number", ""), ("Signature", ""), ("Date, time", "")], blank=True)
    return finished(story, f"Worksheet, reel type {code}", ("Blank worksheet; not a record.",), at=at)


def _type_pictures(story: Story, parameters: Mapping[str, Any], reference_side: str) -> None:
    drum = drum_of(parameters)
    story.figure(
        reel_section(drum, ReadOff(layers=min(2, drum.max_layers), wraps=0), width=style.WIDTH - 156, height=110),
        crossover_circle(drum, reference_side),
    )
    story.paragraph(
        f"Anchor side {drum.anchor_side}. A full odd layer holds {counted(drum.wraps_odd_layer, 'wrap')}, a full even "
        f"one {drum.wraps_even_layer}; the drum takes {counted(drum.max_layers, 'layer')}. Not to scale.",
        style.NOTE,
    )


def reading_table(story: Story) -> None:
    """Room for what is read, in the order of the bench."""
    story.heading("Reading", 2)
    blank_rows = [(*step, "", "", "") for step in READING_STEPS]
    story.table(("", "Read", "as", "1st", "2nd", "3rd"), blank_rows, (0.25, 1.6, 1.5, 0.8, 0.8, 0.8), blank=True)


def working_table(story: Story, parameters: Mapping[str, Any]) -> None:
    """Room to work a reading out, rule by rule."""
    drum = drum_of(parameters)
    far = drum.anchor_side.other
    story.heading("Worked out", 2)
    story.table(
        ("Step", "Rule", "Layers", "Wraps"),
        [
            ("Full layers", "the lower of the two scale readings; the part layer on top is not counted", "", "—"),
            ("Parity", f"even layers: open side {far}, gauge face even; odd layers: open side {drum.anchor_side}, "
             "gauge face odd. Anything else: read again", "—", "—"),
            ("Part-layer wraps", "hand count and gauge must be equal, else read again", "—", ""),
            ("Crossover", f"strictly between {drum.arc_from_deg:g}° and {drum.arc_to_deg:g}°: −1; else 0; on the scale "
             "line itself: ask", "—", ""),
            ("Lead", f"−{parameters['lead_wraps']}", "—", ""),
            ("Setup values", "below zero, or no open side: ask", "", ""),
        ],
        (1, 3.4, 0.7, 0.7),
        blank=True,
    )  # fmt: skip


# Setup card ---------------------------------------------------------------------------------------------------------


def setup_card(card: SetupCard, *, at: datetime) -> bytes:
    """What the setter takes along: the two numbers, and where they come from."""
    values = card.values
    story = Story()
    story.heading(f"Setup card: reel {card.reel} in machine {values['machine']}", 1)
    if values["withdrawn_at"]:
        story.paragraph(
            f"WITHDRAWN {words.time(values['withdrawn_at'])}: {values['withdrawn_why']}. Do not set these values.",
            style.BANNER,
        )
    if values["withdrawn_at"]:
        story.struck("Withdrawn", words.count_words(values["layers"], values["wraps"], values["parity"]))
    else:
        story.numbers((("Layers", values["layers"]), ("Wraps", values["wraps"]), ("Layers are", values["parity"])))
    story.facts([
        ("Reel", card.reel), ("Machine", values["machine"]), ("Host", card.host),
        ("From inspection", f"{card.inspection}"), ("Issued", words.time(values["issued_at"])),
        ("Issued by", words.person(values["issued_by"])), ("Cable when counted", words.length(card.length)),
    ])  # fmt: skip
    story.heading("What was done with them", 2)
    setup_values(story, values)
    story.heading("Cautions", 2)
    for line in (
        CAUTIONS[0],
        "Put the wrap gauge back in its place and leave nothing behind before the machine runs.",
        "Set the numbers, read back what the machine shows, and have a second person read it, too. A number that "
        "differs is refused: find out why first.",
    ):
        story.paragraph(f"• {line}")
    foot = (f"As it stood {words.time(at.isoformat())} UTC", "SHA-256 of the record:", card.record_digest)
    return finished(story, f"Setup card, reel {card.reel}", foot, at=at)


# A reel's history ---------------------------------------------------------------------------------------------------


def reel_history(serial: str, facts: Sequence[tuple[str, str]], lines: Sequence[HistoryLine], *, at: datetime) -> bytes:
    """What happened to a reel, in order. The last digest stands for all of it."""
    story = Story()
    head = lines[-1].digest if lines else "—"
    story.heading(f"History of reel {serial}", 1)
    how_many = counted(len(lines), "entry", "entries")
    story.paragraph(f"{how_many}, as of {words.time(at.isoformat())}. All times are UTC.", style.NOTE)
    story.facts(facts)
    story.table(
        ("No.", "When", "What", "By", "SHA-256 begins"),
        [
            (f"{each.seq}", words.time(each.at.isoformat()), each.act, each.by, each.digest[:16])
            for each in lines
        ],
        (0.4, 1.2, 2.2, 1.1, 1.1),
    )  # fmt: skip
    story.paragraph("Each entry holds the digest of the one before it; the last one stands for all.", style.NOTE)
    return finished(story, f"History of reel {serial}", (f"Reel {serial}", "SHA-256 of the last entry:", head), at=at)


def finished(story: Story, title: str, foot: tuple[str, ...], *, at: datetime) -> bytes:
    """The archival file of a sheet with nothing attached."""
    laid = lay_out(story, HeaderAndFooter(head=(title, ""), foot=foot), title=title, subject=foot[0])
    return archived(laid, at=at, attachments={})
