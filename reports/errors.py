"""What reports and documents refuse. The family and its rules are in reels/errors.py."""

from reels.errors import NotAllowed, Refused


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


class NotAnAuditor(NotAllowed):
    title = "For auditors"
    message = (
        "The register tells of every site, so it and folders of evidence are for administrators, and for whoever is "
        "posted to every site and authorised to verify at every one; {name} is neither."
    )


class EvidenceTooLarge(Refused):
    title = "Too much for one file"
    message = (
        "The evidence of so many reels is larger than {most} MB; choose fewer of them, or have it written into a "
        "folder with `manage.py export_evidence`."
    )


class FleetTooLarge(Refused):
    title = "Too much to keep"
    message = "A report as of a day over {counts} counts is too large here; use `manage.py drift_report --as-of`."
    fields = ("as_of",)
