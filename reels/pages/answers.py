"""How a page answers: what may not be seen is not there, and times are those of the clocks at the site."""

from collections.abc import Callable, Mapping
from contextlib import nullcontext
from functools import wraps
from http import HTTPStatus
from typing import Any, Concatenate, ParamSpec, TypeVar
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from reels import standby
from reels.errors import NotAllowed, NotFound, NotYet, TaskFailed
from reels.models import Person, Site

Given = ParamSpec("Given")
Answered = TypeVar("Answered", bound=HttpResponseBase)
View = Callable[Concatenate[HttpRequest, Given], HttpResponse]


def page(view: View[Given]) -> View[Given]:
    return _answering(view, ["GET", "HEAD"])


def form_page(view: View[Given]) -> View[Given]:
    return _answering(view, ["GET", "HEAD", "POST"])


def _answering(view: View[Given], methods: list[str]) -> View[Given]:
    """A page is not kept by the browser, which somebody else may use next."""
    shown = awaiting(view)

    @never_cache
    @require_http_methods(methods)
    @wraps(view)
    def answer(request: HttpRequest, /, *args: Given.args, **kwargs: Given.kwargs) -> HttpResponse:
        try:
            return shown(request, *args, **kwargs)
        except NotFound as refused:
            raise Http404(str(refused)) from refused
        except NotAllowed as refused:
            raise PermissionDenied(str(refused)) from refused

    return answer


def awaiting(view: Callable[Concatenate[HttpRequest, Given], Answered]) -> Callable[..., Answered | HttpResponse]:
    """Have a page say how far the worker is with what the page shows, until it is there; or why it could not be."""

    @wraps(view)
    def answer(request: HttpRequest, /, *args: Given.args, **kwargs: Given.kwargs) -> Answered | HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except NotYet as awaited:
            return render(request, "reels/not_yet.html", {"run": awaited.run}, status=HTTPStatus.ACCEPTED)
        except TaskFailed as failed:
            return render(request, "reels/not_done.html", failed.facts, status=HTTPStatus.CONFLICT)

    return answer


def reader(request: HttpRequest) -> Person:
    """Who is looking; nobody gets as far as a page without a login."""
    assert isinstance(request.user, Person), "LoginRequiredMiddleware lets nobody else through"
    return request.user


def show(request: HttpRequest, template: str, shown: Mapping[str, Any], site: Site | None = None,
         status: int = 200) -> HttpResponse:  # fmt: skip
    """The page, with every time as it is at the site (in TIME_ZONE where a page is about no single site).

    A page that is read from the standby says so.
    """
    with timezone.override(ZoneInfo(site.time_zone)) if site else nullcontext():
        return render(request, template, {**shown, "read_from": standby.in_words()}, status=status)
