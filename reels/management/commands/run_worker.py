"""`manage.py run_worker`: does what waits in the queue of tasks, until it is told to end."""

import os
import socket
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django_tasks_db.management.commands.db_worker import valid_interval

from reels.services.worker import LeasingWorker, kept


class Command(BaseCommand):
    help = (
        "Does the work that no request waits for. Ends on SIGTERM, once its task can be left off; any number may run."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--batch", action="store_true", help="end once nothing waits")
        parser.add_argument("--interval", type=valid_interval, default=1.0, help="seconds between looks (default: 1)")

    def handle(self, *, batch: bool, interval: float, **options: Any) -> None:
        name = f"{socket.gethostname()[:48]}:{os.getpid()}"
        worker = LeasingWorker(interval=interval, batch=batch, worker_id=name)
        worker.configure_signals()
        with kept(worker):
            worker.run()
