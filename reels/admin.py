"""The admin: people and reference data for administrators. Everything is written by the services, nothing is deleted.

What happens here is told in the register's history, so Django's own log of the admin stays empty.
"""

from typing import Any, ClassVar
from zoneinfo import available_timezones

from django import forms
from django.contrib import admin
from django.contrib.auth import admin as auth_admin
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django_tasks_db import admin as tasks_admin

from reels import access
from reels.errors import Refused
from reels.models import Machine, Person, Posting, Publication, ReelType, Site, WrapGauge
from reels.services import people, register
from reels.services.history import Actor

admin.site.site_header = "Wrapledger: people and reference data"
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


class ServiceForm(forms.ModelForm):  # type: ignore[type-arg]  # not generic at run time
    """A form that shows what the service refused, with everything that was typed."""

    refused: ClassVar[str] = ""

    def clean(self) -> dict[str, Any] | None:
        if self.refused:
            raise ValidationError(self.refused)
        return super().clean()


class ThroughServices(admin.ModelAdmin):  # type: ignore[type-arg]  # not generic at run time
    """Rows that administrators add and change, by one service call each."""

    form = ServiceForm

    def add(self, fields: dict[str, Any], actor: Actor) -> Model:
        raise NotImplementedError

    def change(self, row: Model, fields: dict[str, Any], actor: Actor) -> None:
        """Call the service that changes a row. fields: those that are different now."""
        register.change(row, actor=actor, at=timezone.now(), **fields)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        assert isinstance(request.user, Person), "the admin lets administrators in, and nobody else"
        actor = Actor(request.user)
        if not change:
            obj.pk = self.add(form.cleaned_data, actor).pk
        elif form.changed_data:
            self.change(obj, {name: form.cleaned_data[name] for name in form.changed_data}, actor)

    def changeform_view(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        try:
            return super().changeform_view(request, *args, **kwargs)
        except Refused as refused:
            request.refused = str(refused)  # type: ignore[attr-defined]  # for get_form below
            return super().changeform_view(request, *args, **kwargs)

    def get_form(self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any) -> Any:
        form = super().get_form(request, obj, change, **kwargs)
        return type(form.__name__, (form,), {"refused": getattr(request, "refused", "")})

    def has_module_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return admin.site.has_permission(request)

    has_view_permission = has_add_permission = has_change_permission = has_module_permission

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def log_addition(self, request: HttpRequest, obj: Any, message: Any) -> None:  # type: ignore[override]
        """The register's history tells it."""

    def log_change(self, request: HttpRequest, obj: Any, message: Any) -> None:  # type: ignore[override]
        """The register's history tells it."""


class SiteAdminForm(ServiceForm):
    time_zone = forms.ChoiceField(choices=[(name, name) for name in sorted(available_timezones())], initial="UTC")


@admin.register(Site)
class SiteAdmin(ThroughServices):
    form = SiteAdminForm
    list_display = ("code", "name", "time_zone", "transit_days")

    def add(self, fields: dict[str, Any], actor: Actor) -> Site:
        return register.add_site(actor=actor, at=timezone.now(), **fields)


@admin.register(ReelType)
class ReelTypeAdmin(ThroughServices):
    list_display = ("code", "anchor_side", "wraps_odd_layer", "wraps_even_layer", "max_layers", "lead_wraps", "unusual")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return ("code",) if obj else ()  # machines name the types that they take by it

    def add(self, fields: dict[str, Any], actor: Actor) -> ReelType:
        return register.add_reel_type(actor=actor, at=timezone.now(), **fields)


class LookedAt(ThroughServices):
    """Rows that are only looked at here: they have pages of their own, where they are added and changed."""

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Publication)
class PublicationAdmin(LookedAt):
    list_display = ("code", "revision", "title", "valid_from", "valid_until")


@admin.register(WrapGauge)
class WrapGaugeAdmin(LookedAt):
    list_display = ("serial", "machine")
    list_select_related = ("machine",)
    search_fields = ("serial", "machine__serial")


class MachineForm(ServiceForm):
    types = forms.MultipleChoiceField(
        label="Reel types that it takes", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="Reels of other types are neither issued for it nor installed in it.",
    )  # fmt: skip

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        field: Any = self.fields["types"]
        field.choices = [(each.code, each.code) for each in access.reel_types()]


@admin.register(Machine)
class MachineAdmin(ThroughServices):
    form = MachineForm
    list_display = ("serial", "host", "site", "types")
    list_filter = ("site",)
    list_select_related = ("site",)
    search_fields = ("serial", "host")

    def add(self, fields: dict[str, Any], actor: Actor) -> Machine:
        return register.add_machine(actor=actor, at=timezone.now(), **fields)


@admin.register(Posting)
class PostingAdmin(ThroughServices):
    list_display = ("person", "site", "valid_from", "valid_until")
    list_filter = ("site",)
    list_select_related = ("person", "site")
    search_fields = ("person__username", "person__full_name")

    def add(self, fields: dict[str, Any], actor: Actor) -> Posting:
        return register.post_person(actor=actor, at=timezone.now(), **fields)


class PersonForm(ServiceForm):
    new_password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        required=False,
        strip=False,
        help_text="Empty: as it was; for a new person, no login. Its owner changes it before anything else, and "
        "another administrator enrols them.",
    )


@admin.register(Person)
class PersonAdmin(ThroughServices):
    form = PersonForm
    fields = ("username", "full_name", "staff_number", "is_active", "is_staff", "new_password")
    list_display = ("username", "full_name", "staff_number", "is_active", "is_staff", "is_enrolled")
    list_filter = ("is_active", "is_staff")
    search_fields = ("username", "full_name", "staff_number")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return ("username",) if obj else ()

    def add(self, fields: dict[str, Any], actor: Actor) -> Person:
        password = fields.pop("new_password") or None
        return people.add_person(password=password, actor=actor, at=timezone.now(), **fields)

    def change(self, row: Model, fields: dict[str, Any], actor: Actor) -> None:
        assert isinstance(row, Person)
        password, at = fields.pop("new_password", None), timezone.now()
        if password:
            people.give_password(row, password=password, actor=actor, at=at)
        if fields:
            people.change_person(row, actor=actor, at=at, **fields)
