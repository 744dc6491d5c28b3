"""The admin for authorisations (granted, ended, never changed otherwise), kinds of findings and readiness rules."""

from typing import Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest
from django.utils import timezone

from inspections.domain.practice import Difficulty, ReadinessRule
from inspections.domain.words import Act
from inspections.models import Authorisation, FindingKind, ReadinessAsked
from inspections.services import authorisations, findings
from reels.admin import ThroughServices
from reels.services.history import Actor

GRANTED = ("person", "act", "reel_type", "site", "valid_from", "valid_until")
KIND = ("reel_type", "part", "code", "words", "least_severity")
ENDED = ("granted_by", "granted_at", "ended_at", "ended_by")


@admin.register(Authorisation)
class AuthorisationAdmin(ThroughServices):
    list_display = ("person", "act", "reel_type", "site", "valid_from", "valid_until", "ended_at")
    list_filter = ("act", "site")
    list_select_related = ("person", "reel_type", "site")
    search_fields = ("person__username", "person__full_name")

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return (*GRANTED, *ENDED, "end_reason") if obj else GRANTED

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return (*GRANTED, *ENDED) if obj else ()

    def get_form(self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any) -> Any:
        form = super().get_form(request, obj, change, **kwargs)
        if "end_reason" in form.base_fields:
            form.base_fields["end_reason"].required = True
            form.base_fields["end_reason"].label = "End it now, because"
        return form

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return super().has_change_permission(request, obj) and not (obj and obj.ended_at)

    def add(self, fields: dict[str, Any], actor: Actor) -> Authorisation:
        act = Act(fields.pop("act"))
        return authorisations.grant(act=act, actor=actor, at=timezone.now(), **fields)

    def change(self, row: Model, fields: dict[str, Any], actor: Actor) -> None:
        assert isinstance(row, Authorisation)
        authorisations.end(authorisation=row, reason=fields["end_reason"], actor=actor, at=timezone.now())


@admin.register(FindingKind)
class FindingKindAdmin(ThroughServices):
    list_display = ("reel_type", "part", "code", "words", "least_severity", "is_offered")
    list_filter = ("reel_type", "part")
    list_select_related = ("reel_type",)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return (*KIND, "is_offered") if obj else KIND

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return KIND[:3] if obj else ()

    def add(self, fields: dict[str, Any], actor: Actor) -> FindingKind:
        return findings.add_kind(actor=actor, at=timezone.now(), **fields)


@admin.register(ReadinessAsked)
class ReadinessAskedAdmin(ThroughServices):
    list_display = ("site", "act", "in_a_row", "within_days", "least", "is_asked")
    list_select_related = ("site",)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        asked = ("site", "act", "in_a_row", "within_days", "least")
        return (*asked, "is_asked") if obj else asked

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return ("site", "act") if obj else ()

    def add(self, fields: dict[str, Any], actor: Actor) -> ReadinessAsked:
        rule = ReadinessRule(
            in_a_row=fields["in_a_row"], within_days=fields["within_days"], least=Difficulty(fields["least"])
        )
        return authorisations.ask_readiness(
            site=fields["site"], act=Act(fields["act"]), rule=rule, actor=actor, at=timezone.now()
        )
