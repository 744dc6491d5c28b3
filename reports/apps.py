"""Reports as a Django app: documents are kept right after the acts that they show.

What makes documents is imported when it is needed: not before models are ready, and not by a command that makes none.
"""

import json
from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.db import transaction
from django.db.models.signals import post_save


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_save.connect(archive_after, sender="reels.HistoryEntry", dispatch_uid="reports.archive_after")
        checks.register(seal_is_there)


def archive_after(instance: Any, created: bool, **_: Any) -> None:
    """When an act that shows on a document is committed, keep the document as it stands then.

    Inspections must not know of documents, which are above them; a history entry is written for every act there is.
    A failure is logged and undoes nothing; `manage.py archive_inspections` catches up.
    """
    from reports.queries.documents import may_show  # noqa: PLC0415  # see above

    def keep() -> None:
        from reports.services import archive  # noqa: PLC0415  # see above

        archive.archive_after(instance)

    if created and may_show(json.loads(instance.content)["changes"]):
        transaction.on_commit(keep, robust=True)  # robust: an error is logged, not raised at whoever signed


def seal_is_there(app_configs: Sequence[AppConfig] | None = None, **_: Any) -> list[checks.CheckMessage]:
    """Outside the demo, which makes its own, the key must be there, or no document is kept."""
    if settings.WRAPLEDGER_ENV == "demo":
        return []
    from reports.errors import SealMissing  # noqa: PLC0415  # see above
    from reports.services.seal import seal_key  # noqa: PLC0415

    try:
        seal_key()
    except SealMissing as missing:
        hint = "Run `manage.py make_seal_key`, then `manage.py archive_inspections` for what was signed meanwhile."
        return [checks.Warning(str(missing), hint=hint, id="reports.W001")]
    return []
