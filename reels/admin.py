"""The framework's administration, for support to look at: people and reference data, and nothing is written here.

Each has a page of its own where it is added and changed, by the services; what no page offers is done over the API (an
authorisation, posting or publication that begins on a later day) or not at all (nothing is deleted).
"""

from typing import Any

from django.contrib import admin
from django.contrib.auth import admin as auth_admin
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django_tasks_db import admin as tasks_admin

from reels.models import Machine, Person, Posting, Publication, ReelType, Site, WrapGauge

admin.site.site_header = "Wrapledger: people and reference data, to look at"
admin.site.site_title = "Wrapledger"
admin.site.index_title = "People and reference data"
admin.site.unregister(auth_admin.Group)  # type: ignore[attr-defined]  # who may do what: authorisations say it
admin.site.unregister(tasks_admin.DBTaskResult)  # type: ignore[attr-defined]  # tasks have a page of their own


def no_such_page(request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:
    """In place of the admin's own page for passwords, which would write past the services."""
    raise Http404


@login_not_required
def log_in_here(request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:
    """In place of the admin's own page to log in, which knows of no lock and no second factor."""
    if request.user.is_authenticated and not admin.site.has_permission(request):
        raise PermissionDenied("This is for administrators.")
    return redirect_to_login(request.GET.get("next", "/admin/"))


admin.site.login = log_in_here  # type: ignore[method-assign]  # see log_in_here
admin.site.password_change = no_such_page  # type: ignore[method-assign,assignment]  # see no_such_page


class LookedAt(admin.ModelAdmin):  # type: ignore[type-arg]  # not generic at run time
    """Rows that administrators look at. Nobody adds, changes or deletes here, whatever the framework would let them."""

    actions = None

    def has_module_permission(self, request: HttpRequest) -> bool:
        return admin.site.has_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return admin.site.has_permission(request)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Site)
class SiteAdmin(LookedAt):
    list_display = ("code", "name", "time_zone", "transit_days")


@admin.register(ReelType)
class ReelTypeAdmin(LookedAt):
    list_display = ("code", "anchor_side", "wraps_odd_layer", "wraps_even_layer", "max_layers", "lead_wraps", "unusual")


@admin.register(Publication)
class PublicationAdmin(LookedAt):
    list_display = ("code", "revision", "title", "valid_from", "valid_until")


@admin.register(WrapGauge)
class WrapGaugeAdmin(LookedAt):
    list_display = ("serial", "machine")
    list_select_related = ("machine",)
    search_fields = ("serial", "machine__serial")


@admin.register(Machine)
class MachineAdmin(LookedAt):
    list_display = ("serial", "host", "site", "types")
    list_filter = ("site",)
    list_select_related = ("site",)
    search_fields = ("serial", "host")


@admin.register(Posting)
class PostingAdmin(LookedAt):
    list_display = ("person", "site", "valid_from", "valid_until")
    list_filter = ("site",)
    list_select_related = ("person", "site")
    search_fields = ("person__username", "person__full_name")


@admin.register(Person)
class PersonAdmin(LookedAt):
    fields = ("username", "full_name", "staff_number", "is_active", "is_staff", "enrolled_by", "enrolled_at")
    list_display = ("username", "full_name", "staff_number", "is_active", "is_staff", "is_enrolled")
    list_filter = ("is_active", "is_staff")
    search_fields = ("username", "full_name", "staff_number")
