"""Older records brought in from CSV files.

records    the import from end to end                     run       an import under way
staging    rows kept in a temporary file, reel by reel    register  reel types and sites
reels      reels with their counts and cable events       task      the import by the worker
sheets     a file that a spreadsheet saved               mappings  how such files are read
"""

from inspections.services.intake.records import FILES, VIA, ImportSummary, Open, import_records, importer

__all__ = ["FILES", "VIA", "ImportSummary", "Open", "import_records", "importer"]
