"""`manage.py loaddata`, the framework's, refused: rows come in by acts."""

from reels.management.refused import RefusedCommand


class Command(RefusedCommand):
    help = "Refused: records are brought in by import_records, and a backup is restored whole."
    instead = "Bring in records by manage.py import_records; restore a backup as deploy/handbook/operations.md says."
