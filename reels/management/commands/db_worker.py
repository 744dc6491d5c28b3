"""`manage.py db_worker`, the task library's, refused: it takes tasks without a lease."""

from reels.management.refused import RefusedCommand


class Command(RefusedCommand):
    help = "Refused: tasks are done by run_worker."
    instead = "Tasks are done under leases, by manage.py run_worker."
