"""What is signed: the canonical record of an inspection, and the statement that each signature makes about it.

Both are canonical JSON (RFC 8785); the SHA-256 of the record's bytes is in each statement, and the SHA-256 of a
statement's bytes is its signature's digest. Who wants to check a signature needs nothing else.
"""

import json
from collections.abc import Mapping
from typing import Any

from reels.domain import ledger


def record_bytes(content: Mapping[str, Any]) -> bytes:
    """The record's canonical bytes, form 6.

    Forms 1 to 4 told cable condition and winding in words, and neither which parts were found sound nor findings, nor
    in which paragraphs the rules are written.
    Form 3 and those before told of the parameters neither where the scale line sits nor from which side angles are seen
    nor how the cable is wound.
    Form 1 told neither of surprises accepted nor of photos. Forms 1 and 2 called the first half turn aft and the second
    forward (`Half.stored` reads them), told neither why a count from paper names a publication out of force nor which
    wrap gauges were used, calibrated until when, and the technician alone keyed the open side in them. None before form
    6 told of third readings.
    """
    return ledger.canonical({"v": 6, "kind": "inspection", **ledger.plain(content)})


def statement_bytes(content: Mapping[str, Any]) -> bytes:
    """The canonical bytes of what a signer states, form 1."""
    return ledger.canonical({"v": 1, "kind": "signature", **ledger.plain(content)})


def signature_fault(record: bytes, statement: bytes, *, digest: str, columns: Mapping[str, Any]) -> str | None:
    """What is wrong with a signature, or None.

    columns: what is kept beside it (record, inspection, meaning, person, name).
    """
    if ledger.digest(statement) != digest:
        return f"its statement has the digest {ledger.digest(statement)[:12]}, but {digest[:12]} is recorded"
    claims = json.loads(statement)
    if claims["record"] != ledger.digest(record):
        return f"it was given for the record {claims['record'][:12]}, but the record is {ledger.digest(record)[:12]}"
    stated = {**claims, "person": claims["person"]["id"], "name": claims["person"]["name"]}
    for name, value in columns.items():
        if stated[name] != value:
            return f"its statement says {name} {stated[name]!r}, the row says {value!r}"
    return None
