"""The service as gunicorn loads it for tests: quick passwords, and a worker that dies or hangs when asked to."""

import os
import signal
import time
from typing import Any

from django.test.utils import override_settings

from deploy.wsgi import application as service
from reels.services import submissions

override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]).enable()

BEFORE_COMMIT, AFTER_COMMIT = "before-commit", "after-commit"
HANGS, HANGS_S = "hangs", 120
_dies_at = ""
_keep = submissions.keep


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def keep_and_perhaps_die(*args: Any, **kwargs: Any) -> None:
    _keep(*args, **kwargs)
    if _dies_at == BEFORE_COMMIT:
        die()
    if _dies_at == HANGS:
        time.sleep(HANGS_S)


def application(environ: dict[str, Any], start_response: Any) -> Any:
    global _dies_at  # noqa: PLW0603  # a worker has one request at a time
    _dies_at = environ.get("HTTP_X_TEST_DIES", "")
    answer = service(environ, start_response)
    if _dies_at == AFTER_COMMIT:
        die()
    return answer


submissions.keep = keep_and_perhaps_die
