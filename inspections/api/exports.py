"""A signed inspection in the form in which its signatures are checked without this service.

The form is that of deploy/handbook/check_records.py.
"""

import base64
from typing import Any

from inspections import access
from inspections.api.count_serializers import ValidityOut
from inspections.queries.counts import sign_offs_of
from inspections.queries.validity import validity_of
from reels.api.endpoints import Call, Endpoint, read
from reels.api.fields import Moment, Text
from reels.api.forms import Out
from reels.errors import NotFound


class Base64(Text):
    """Bytes as base64."""

    def to_representation(self, value: Any) -> str:
        return base64.b64encode(bytes(value)).decode()


class StatementOut(Out):
    statement = Base64(help_text="The signature's canonical statement, base64.")
    digest = Text(help_text="SHA-256 of the statement, hexadecimal.")


class ValidityThenOut(ValidityOut):
    """In a file that is kept it has to say as of when."""

    as_of = Moment()


class SignaturesOut(Out):
    record = Base64(source="record.content", help_text="The canonical record that was signed, base64.")
    signatures = StatementOut(many=True)
    validity = ValidityThenOut(
        allow_null=True, help_text="Whether the record stands, as the service says; null while only one has signed."
    )


class SignatureExportEndpoint(Endpoint):
    @read("sign_offs_export", SignaturesOut)
    def get(self, call: Call, inspection_id: int) -> Any:
        """A signed record with its signatures, as their stored bytes."""
        inspection = access.inspection_for_read(inspection_id, call.actor.person, call.at)
        record = getattr(inspection, "record", None)
        if record is None:
            raise NotFound(what="signed record of inspection", key=inspection_id)
        validity = validity_of(inspection, call.at)
        return {"record": record, "signatures": sign_offs_of(inspection), "validity": validity}
