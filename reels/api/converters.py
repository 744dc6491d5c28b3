"""What may stand in a path. What matches nothing is answered like any other path that is not there."""

from django.urls import register_converter
from django.urls.converters import StringConverter

from reels.api.fields import CODE
from reels.domain.words import SERIAL_IN_PATH, USERNAME


class SerialConverter(StringConverter):
    regex = SERIAL_IN_PATH


class CodeConverter(StringConverter):
    regex = CODE


class UsernameConverter(StringConverter):
    regex = USERNAME


class IdConverter(StringConverter):
    """The number of a record, as large as a column holds."""

    regex = r"[1-9][0-9]{0,17}"

    def to_python(self, value: str) -> int:  # type: ignore[override]  # a number is what the views want
        return int(value)


register_converter(SerialConverter, "serial")
register_converter(CodeConverter, "code")
register_converter(UsernameConverter, "username")
register_converter(IdConverter, "id")
