"""What reports and documents refuse. The family and its rules are in reels/errors.py."""

from reels.errors import Refused


class NoDocument(Refused):
    title = "No document yet"
    message = "Inspection {inspection} has no document: it is drawn up when both have signed."


class SealMissing(Refused):
    title = "No seal"
    message = "Documents cannot be sealed: {why} `manage.py make_seal_key` makes a key."


class ExportTooLarge(Refused):
    title = "Too much for one file"
    message = (
        "{documents} documents are too large for a file of at most {most} MB; choose a site, a reel or fewer days."
    )


class FleetTooLarge(Refused):
    title = "Too much to keep"
    message = "A report as of a day over {counts} counts is too large here; use `manage.py drift_report --as-of`."
    fields = ("as_of",)
