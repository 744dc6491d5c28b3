"""Marks on reports that are kept and that no history tells: one that somebody edited is not shown, but made anew.

A mark is an HMAC (RFC 2104, with SHA-256 and a key from SECRET_KEY) over all columns as they are read,
of content over its digest.
"""

import hmac
import json
from typing import Any

from django.utils.crypto import salted_hmac

from reels.domain import ledger


def mark(row: Any) -> None:
    """Mark a row that was just written, in the transaction that wrote it."""
    row.refresh_from_db()  # JSON may come back as another number of the same value
    row.mac = _mac(row)
    row.save(update_fields=["mac"])


def is_as_marked(row: Any) -> bool:
    """Whether the row is as the service wrote it. Content that is not read yet is not looked at."""
    content = row.__dict__.get("content")
    holds = content is None or ledger.digest(bytes(content)) == row.digest
    return holds and hmac.compare_digest(row.mac.encode(), _mac(row).encode())


def _mac(row: Any) -> str:
    names = [field.attname for field in row._meta.concrete_fields if field.attname not in ("id", "content", "mac")]
    columns = json.dumps({name: getattr(row, name) for name in names}, default=str, sort_keys=True)
    return str(salted_hmac(row._meta.label, columns, algorithm="sha256").hexdigest())
