"""Which of our columns a heading of somebody else's file can only mean."""

import re
from collections.abc import Sequence

from inspections.domain.intake.files import FORMS, FileForm

# Beside the columns' own names. As people head their sheets; units, blanks and case are left out before comparing.
ALSO_CALLED = {
    "reel": ("reel serial", "reel no", "reel number", "serial", "serial no", "serial number", "reel assembly", "s/n"),
    "serial": ("reel", "reel serial", "serial no", "serial number", "reel no", "reel number", "s/n"),
    "type": ("reel type", "type code"),
    "site": ("base", "location", "station"),
    "received_on": ("received", "date received", "receipt", "in service since"),
    "cable_length_m": ("cable length", "length", "length of cable"),
    "cable_part_number": ("cable part no", "cable p/n"),
    "cable_serial": ("cable lot", "lot", "cable serial no", "cable batch"),
    "part_number": ("part no", "p/n"),
    "counted_at": ("counted", "date", "date of count", "count date", "date and time", "counted on", "when"),
    "layers": ("layer", "full layers", "layers counted"),
    "wraps": ("wrap", "part layer wraps", "wraps on part layer"),
    "counted_by": ("counter", "technician", "by", "counted by name"),
    "verified_by": ("verifier", "witness", "checked by", "verified", "inspector"),
    "document": ("work order", "wo", "order", "document no", "reference"),
    "happened_at": ("date", "date and time", "when", "happened", "cut on", "date of cut"),
    "kind": ("what", "event", "action"),
    "length_removed_m": ("length removed", "removed", "cut", "cut length", "length cut", "length"),
    "recorded_at": ("recorded", "entered", "entered at", "logged", "logged at"),
    "machine": ("reeling machine", "machine serial"),
    "installed_at": ("installed", "installed on", "date installed"),
    "removed_at": ("removed", "removed on", "date removed"),
    "from_site": ("from", "sent from"),
    "to_site": ("to", "sent to"),
    "sent_at": ("sent", "sent on"),
    "received_at": ("received", "received on"),
    "found_sound": ("sound", "condition sound"),
    "length_out_m": ("length out", "out"),
    "words": ("remark", "remarks", "notes", "comment"),
    "code": ("type", "reel type", "type code"),
    "core_diameter_mm": ("core diameter", "core"),
    "cable_diameter_mm": ("cable diameter", "cable"),
}


def plain(heading: str) -> str:
    """A heading without what says nothing: case, blanks, strokes, and a unit in brackets."""
    return re.sub(r"[\W_]+", "", re.sub(r"[\[(](m|mm|metres|h)[\])]", "", heading.lower()))


def matched(form: FileForm, header: Sequence[str]) -> dict[str, str]:
    """Our columns by the heading that means each: by its own name first, then by what it is also called."""
    free = {plain(heading): heading for heading in reversed(header) if plain(heading)}
    by_column: dict[str, str] = {}
    for names in (lambda name: (name,), lambda name: ALSO_CALLED.get(name, ())):
        for column in form.columns:
            if column.name not in by_column:
                heading = next((free.pop(key) for key in map(plain, names(column.name)) if key in free), None)
                by_column |= {column.name: heading} if heading is not None else {}
    return by_column


def form_named(name: str) -> FileForm | None:
    """The file of ours that has this name, in any case and with any folder before it."""
    last = re.split(r"[/\\]", name.lower())[-1]
    return next((form for form in FORMS if form.file == last), None)
