"""From facts to the file that is kept, and with what it was made."""

from datetime import datetime
from functools import cache
from importlib.metadata import version

from reports.pdf.archive import Part, archived
from reports.pdf.facts import InspectionFacts
from reports.pdf.inspection_sheet import render_inspection

# The form of the pages: goes up by one with any change that changes their bytes. A test holds the bytes of each form.
FORM = "3"


@cache
def made_with() -> dict[str, str]:
    """What the bytes of a document depend on besides its facts."""
    return {"form": FORM, "reportlab": version("reportlab"), "pikepdf": version("pikepdf"), "segno": version("segno")}


def drawn_up(facts: InspectionFacts, part: Part = "3b") -> bytes:
    """The document of an inspection, not sealed. The same facts give the same bytes, if made with the same."""
    at = datetime.fromisoformat(facts.stood["at"])
    return archived(render_inspection(facts), at=at, attachments=facts.attachments, part=part)
