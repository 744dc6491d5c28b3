"""Whether the record that a document carries matches its digest and its signatures: from its bytes alone."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from inspections.domain.words import Meaning, Role
from reels.domain import ledger

ROLE_OF = {Meaning.COUNTED.value: Role.TECHNICIAN.value, Meaning.VERIFIED.value: Role.VERIFIER.value}


def record_fault(record: bytes, statements: Sequence[bytes], situation: bytes) -> str | None:
    """What is wrong with a record and its signatures, or None. Bytes of any kind get an answer.

    The statements bind the record by its SHA-256; both must be in canonical form, so that the bytes are the only ones
    that say what they say.
    """
    parsed = [_parse(each) for each in (record, *statements, situation)]
    if any(each is None for each in parsed):
        return "What is attached is not canonical JSON."
    record_data, *signatures, situation_data = [each for each in parsed if each is not None]
    kinds = [record_data.get("kind"), *(each.get("kind") for each in signatures), situation_data.get("kind")]
    if kinds != ["inspection", *["signature"] * len(signatures), "situation"]:
        return f"What is attached is of the kinds {kinds}."
    if situation_data.get("inspection") != record_data.get("inspection"):
        return "The situation is that of another inspection."
    digest = ledger.digest(record)
    for signature in signatures:
        if why := _signature_fault(record_data, digest, signature):
            return why
    meanings = sorted(str(each["meaning"]) for each in signatures)
    if meanings != sorted(Meaning):
        return f"It is signed as {', '.join(meanings) or 'nothing'}; it should be signed as counted and as verified."
    if len({each["person"].get("id") for each in signatures}) != len(signatures):
        return "Both signatures are those of one person."
    return None


def _parse(content: bytes) -> dict[str, Any] | None:
    """A JSON object, if the bytes are its canonical form."""
    try:
        data = json.loads(content)
        is_canonical = ledger.canonical(data) == content
    except (ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) and is_canonical else None


def _signature_fault(record_data: Mapping[str, Any], digest: str, signature: Mapping[str, Any]) -> str | None:
    if signature.get("record") != digest:
        return f"A signature was given for the record {str(signature.get('record'))[:12]}, but this is {digest[:12]}."
    if signature.get("inspection") != record_data.get("inspection"):
        return "A signature is that of another inspection."
    person, meaning = signature.get("person"), str(signature.get("meaning"))
    participants = record_data.get("participants")
    if not isinstance(person, dict) or not isinstance(participants, list):
        return "The record does not say who took part, or a signature not who signed."
    took_part = any(
        isinstance(each, dict) and each.get("id") == person.get("id") and each.get("role") == ROLE_OF.get(meaning)
        for each in participants
    )
    return None if took_part else f"Who signed “{meaning}” did not take part in that role."
