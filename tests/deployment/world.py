"""Makes the people, reels and ways in that a load needs, and prints them: `python -m tests.deployment.world REELS`.

The database is that of DATABASE_URL; its tables are there.
"""

import json
import os
import sys
from typing import Any

# A signature asks for the password again; a quick hash, as in tests/served_app.py, leaves the processor to the load.
QUICK = "django.contrib.auth.hashers.MD5PasswordHasher"


def make(reels: int) -> dict[str, Any]:
    from django.conf import settings
    from django.test import Client, override_settings

    from reels.domain.words import Scope
    from tests import builders
    from tests.api_fixtures import make_token
    from tests.deployment.load import CSRF

    with override_settings(PASSWORD_HASHERS=[QUICK]):
        cast = builders.Cast()
    builders.make_machine("RM-7")
    builders.make_gauge()
    serials = [f"LD-{number:05}" for number in range(reels)]
    for serial in serials:
        builders.make_reel(serial)
        builders.make_machine(f"RM-{serial}")
    cookies = {}
    for part in ("technician", "verifier", "control"):
        client = Client()
        client.force_login(getattr(cast, part))
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        cookies[part] = f"{settings.SESSION_COOKIE_NAME}={session}; {settings.CSRF_COOKIE_NAME}={CSRF}"
    return {
        "token": make_token(cast.technician, Scope.READINGS, Scope.READ), "serials": serials, "cookies": cookies,
        "password": builders.PASSWORD,
    }  # fmt: skip


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    import django

    django.setup()
    sys.stdout.write(json.dumps(make(int(sys.argv[1]))))
