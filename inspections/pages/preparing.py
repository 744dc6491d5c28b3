"""The beginning of a count: the preparation, confirmed."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections.pages.forms import PreparationForm
from inspections.services.opening import Preparation, open_inspection
from reels import access
from reels.domain.cautions import CAUTIONS
from reels.models import Reel
from reels.pages.acts import NOT_TAKEN, at_site, carry_out, new_token
from reels.pages.answers import form_page, reader, show
from reels.services.history import Actor


@form_page
def begin(request: HttpRequest, serial: str) -> HttpResponse:
    """The preparation form; once it is taken, the worksheet."""
    person, at = reader(request), timezone.now()
    reel = access.reel_for_read(serial, person, at)
    machines = access.readable_machines(person, at).filter(site=reel.site).order_by("serial")
    choices = [(each.serial, f"{each.serial} in {each.host}, gauge {each.wrap_gauge}") for each in machines]
    with at_site(reel.site):
        form = PreparationForm(request.POST or None, machines=choices)
        if request.method == "POST" and form.is_valid() and (done := _open(request, form, reel)):
            return done
    about = {"form": form, "reel": reel, "cautions": CAUTIONS, "token": new_token(), "confirmed": _confirmed(form)}
    answer = show(request, "inspections/count/preparation.html", about, reel.site)
    answer.status_code = NOT_TAKEN if form.errors else 200
    return answer


def _confirmed(form: PreparationForm) -> list[Any]:
    """The boxes to tick, in their order."""
    return [form[name] for name in ("turned_as_installed", "marks_found", "evenly_wound", "respooled")]


def _open(request: HttpRequest, form: PreparationForm, reel: Reel) -> HttpResponse | None:
    given = dict(form.cleaned_data)
    serial = given.pop("machine")

    def act(actor: Actor) -> str:
        at = timezone.now()
        machine = access.machine_for_read(serial, actor.person, at) if serial else None
        preparation = Preparation(machine=machine, **given)
        opened = open_inspection(serial=reel.serial, preparation=preparation, actor=actor, at=at)
        return reverse("worksheet-technician", args=[opened.pk])

    return carry_out(request, form, act)
