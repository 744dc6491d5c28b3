"""The body of an act, made from its declaration."""

from collections.abc import Callable
from typing import Any

from rest_framework import serializers

from reels.api.fields import (
    CODE,
    SERIAL,
    USERNAME,
    Codes,
    Day,
    Exact,
    Maybe,
    Moment,
    Named,
    Remark,
    Secret,
    Text,
    Whole,
    Word,
    YesNo,
)
from reels.api.forms import Form
from reels.domain.act_fields import ActField, FieldKind, fields_of

TEXTS = {FieldKind.TEXT: Text, FieldKind.REMARK: Remark}
OTHERS: dict[FieldKind, Callable[..., serializers.Field[Any, Any, Any, Any]]] = {
    FieldKind.SECRET: Secret, FieldKind.MOMENT: Moment, FieldKind.LENGTH: Exact, FieldKind.WHOLE: Whole,
    FieldKind.YES_NO: YesNo, FieldKind.DAY: Day,
}  # fmt: skip
PATTERNS = {FieldKind.SERIAL: SERIAL, FieldKind.CODE: CODE, FieldKind.USERNAME: USERNAME}


def takes(declaration: type) -> Callable[[type[Form]], type[Form]]:
    """Give a body the fields of a declaration, before its own."""

    def add(form: type[Form]) -> type[Form]:
        made = {name: field_of(field) for name, field in fields_of(declaration).items()}
        form._declared_fields = {**made, **form._declared_fields}
        return form

    return add


def body_of(declaration: type, name: str) -> type[Form]:
    """The body that has the fields of a declaration and no others. name: what the OpenAPI document calls it."""
    return takes(declaration)(type(name, (Form,), {}))


def field_of(field: ActField) -> serializers.Field[Any, Any, Any, Any]:
    """The serializer's field of one value. Text that may be left out is null outside and "" within."""
    options: dict[str, Any] = {"help_text": field.help} if field.help else {}
    if field.kind in TEXTS:
        options |= {"max_length": field.most} if field.most else {}
        return TEXTS[field.kind](**options) if field.is_required else Maybe(**options)
    if field.kind in (FieldKind.CODES, FieldKind.ANSWERS):
        return Codes(**options, required=field.is_required, allow_empty=not field.is_required)
    if not field.is_required:
        options |= {"default": field.default} | ({"allow_null": True} if field.default is None else {})
    if field.kind in PATTERNS:
        return Named(PATTERNS[field.kind], **options)
    if field.kind == FieldKind.WORD:
        return Word([word for word, _ in field.words], **options)
    return OTHERS[field.kind](**options)
