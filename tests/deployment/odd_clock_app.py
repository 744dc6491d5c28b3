"""The service as tests/served_app.py, with a clock that is as many seconds off as the file CLOCK_IS_OFF says."""

import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.utils import timezone

from tests.served_app import application as service

_now = timezone.now


def odd_now() -> datetime:
    return _now() + timedelta(seconds=float(Path(os.environ["CLOCK_IS_OFF"]).read_text()))


def application(environ: dict[str, Any], start_response: Any) -> Any:
    return service(environ, start_response)


timezone.now = odd_now
