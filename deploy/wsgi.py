"""What the web server loads. It refuses to start where the system checks find an error."""

import gc
import os

from django.core.checks import run_checks
from django.core.management.base import SystemCheckError
from django.core.wsgi import get_wsgi_application

gc.disable()  # nothing that is loaded becomes free again; looking for it costs a tenth of the start
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = get_wsgi_application()

if errors := [message for message in run_checks() if message.is_serious() and not message.is_silenced()]:
    raise SystemCheckError("\n".join(str(message) for message in errors))
gc.freeze()  # nor is it looked through later
gc.enable()
