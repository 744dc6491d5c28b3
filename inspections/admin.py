"""The framework's administration, to look at: authorisations, kinds of findings and readiness rules."""

from django.contrib import admin

from inspections.models import Authorisation, FindingKind, ReadinessAsked
from reels.admin import LookedAt


@admin.register(Authorisation)
class AuthorisationAdmin(LookedAt):
    list_display = ("person", "act", "reel_type", "site", "valid_from", "valid_until", "ended_at")
    list_filter = ("act", "site")
    list_select_related = ("person", "reel_type", "site")
    search_fields = ("person__username", "person__full_name")


@admin.register(FindingKind)
class FindingKindAdmin(LookedAt):
    list_display = ("reel_type", "part", "code", "words", "least_severity", "is_offered")
    list_filter = ("reel_type", "part")
    list_select_related = ("reel_type",)


@admin.register(ReadinessAsked)
class ReadinessAskedAdmin(LookedAt):
    list_display = ("site", "act", "in_a_row", "within_days", "least", "is_asked")
    list_select_related = ("site",)
