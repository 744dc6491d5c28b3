"""Files that somebody looks at before anything comes of them: kept for a while for whoever sent them."""

import zlib
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from reels import access
from reels.models import Person, Upload

KEPT_FOR = timedelta(days=2)  # from when something was said of it last; as long as a task's files
MOST = 10  # of one person; the oldest gives way


@transaction.atomic
def keep(person: Person, name: str, content: bytes, about: Mapping[str, Any], at: datetime) -> Upload:
    """Keep a file. about: how it is taken, as JSON has it."""
    forget(at)
    older = Upload.objects.filter(person=person).order_by("-said_at", "-pk").values_list("pk", flat=True)
    Upload.objects.filter(pk__in=list(older[MOST - 1 :])).delete()
    compressed = zlib.compress(content, level=1)
    return Upload.objects.create(person=person, name=name[:200], content=compressed, about=dict(about), said_at=at)


def of(pk: UUID, person: Person) -> Upload:
    """One's own. Raises NotFound."""
    return access.one(Upload.objects.filter(person=person), "file", pk=pk)


def content_of(upload: Upload) -> bytes:
    """The file as it came."""
    return zlib.decompress(bytes(upload.content))


def say(upload: Upload, about: Mapping[str, Any], at: datetime) -> None:
    """Keep how it is taken from now on."""
    upload.about, upload.said_at = dict(about), at
    upload.save(update_fields=["about", "said_at"])


def forget(at: datetime) -> None:
    """Remove those of which nothing was said for a while."""
    Upload.objects.filter(said_at__lt=at - KEPT_FOR).delete()
