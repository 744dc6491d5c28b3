"""Pages on which something is done: plain forms that post and redirect, and are carried out once however often sent."""

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils import timezone

from reels.domain import ledger
from reels.errors import NotFound, Refused
from reels.models import Site
from reels.pages.answers import reader
from reels.services import submissions
from reels.services.history import Actor

NOT_TAKEN = 422
TOKEN = "token"  # noqa: S105  # the name of a field: a number of its own for each form that is shown
SEE_OTHER = 303
NO_PART_OF_IT = ("csrfmiddlewaretoken",)


@contextmanager
def at_site(site: Site) -> Iterator[None]:
    """Times are read and written as the clocks at the site show them."""
    with timezone.override(ZoneInfo(site.time_zone)):
        yield


def new_token() -> str:
    """A number for a form, by which the same form sent twice is known."""
    return str(uuid.uuid4())


def carry_out(request: HttpRequest, form: forms.Form, act: Callable[[Actor], str]) -> HttpResponse | None:
    """Do what a form asks for, once, and go on to the address that `act` gives.

    Returns None when it is refused; the form then says why. Raises NotFound.
    """
    actor = Actor(reader(request))
    try:
        return HttpResponseRedirect(_once(request, actor, act))
    except NotFound:
        raise
    except Refused as refused:
        place = next((field for field in refused.fields if field in form.fields), None)
        form.add_error(place, str(refused))
        return None


def _once(request: HttpRequest, actor: Actor, act: Callable[[Actor], str]) -> str:
    said = {name: request.POST.getlist(name) for name in request.POST if name not in NO_PART_OF_IT}
    said |= {f"file {name}": [ledger.digest(_content(each)) for each in files] for name, files in request.FILES.lists()}
    key = request.POST.get(TOKEN) or new_token()
    fingerprint = submissions.fingerprint("POST", request.path, said)
    once = submissions.Request(actor=actor, key=f"form {key[:80]}", fingerprint=fingerprint)
    with transaction.atomic():
        if known := submissions.begin(once):
            return known.headers["Location"]
        address = act(actor)
        kept = submissions.SentAnswer(status=SEE_OTHER, media_type="", body=b"", headers={"Location": address})
        submissions.keep(once, kept, timezone.now())
    return address


def _content(file: Any) -> bytes:
    file.seek(0)
    content: bytes = file.read()
    return content
