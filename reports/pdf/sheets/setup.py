"""Setup values on paper: the card that the setter takes along, and what became of the values."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from reels.domain.cautions import CAUTIONS
from reports.pdf import style, words
from reports.pdf.facts import SetupCard
from reports.pdf.flowables import Story
from reports.pdf.pdfa import write_sheet


def setup_card(card: SetupCard, *, at: datetime) -> bytes:
    """What the setter takes along: the two numbers, and where they come from."""
    values, story = card.values, Story()
    story.heading(f"Setup card: reel {card.reel} in machine {values['machine']}", 1)
    if values["withdrawn_at"]:
        story.paragraph(
            f"WITHDRAWN {words.time(values['withdrawn_at'])}: {values['withdrawn_why']}. Do not set these values.",
            style.BANNER,
        )
        story.struck("Withdrawn", words.count_words(values["layers"], values["wraps"], values["parity"]))
    else:
        story.result(values)
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
    footer = (f"As of {words.time(at.isoformat())} UTC", "SHA-256 of the record:", card.record_digest)
    return write_sheet(story, f"Setup card, reel {card.reel}", footer, at=at)


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
        (each["kind"], each["remark"] or "—", "passed" if each["passed"] else "FAILED",
         words.person(each["done_by"]), words.time(each["done_at"]))
        for each in values["checks"]
    ]  # fmt: skip
    if rows:
        story.table(("Check", "Shown", "Result", "By", "When"), rows, (1.1, 1.2, 1, 1.2, 1.3))
