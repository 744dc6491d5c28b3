"""How gunicorn serves a node: `python -m gunicorn --config deploy/server/gunicorn_conf.py deploy.wsgi`.

The application is loaded by each worker and not by the master, so that HUP takes up new code: new workers are started,
the old ones finish what they are at, and the socket stays open meanwhile.
"""

import multiprocessing
import os
import tempfile
from pathlib import Path
from typing import Any

from deploy import serving

limit_request_line = serving.limit_request_line
chdir = str(Path(__file__).resolve().parents[2])
bind = os.environ.get("BIND", "127.0.0.1:8001")  # not looked at when systemd hands over a socket
workers = int(os.environ.get("WEB_PROCESSES") or 2 * multiprocessing.cpu_count() + 1)
timeout = 120  # seconds: a bundle of documents takes a while; REQUEST_SECONDS answers before that
graceful_timeout = 60
control_socket_disable = True
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108  # heartbeats only
accesslog = None  # the service tells of requests itself, with their ids

# Where the processes of this node add up their metrics; systemd gives a folder of its own and removes it.
os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", os.environ.get("RUNTIME_DIRECTORY") or tempfile.mkdtemp())

logconfig_dict: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "deploy.watching.log.JsonLines"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"gunicorn.error": {"handlers": ["console"], "level": "INFO", "propagate": False}},
}


def on_starting(server: Any) -> None:
    """Begin with no counts of processes that are long gone."""
    for left in Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]).glob("*.db"):
        left.unlink()
