"""Deny by default: whoever is not logged in gets nothing but the page to log in."""

from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.permissions import AllowAny

OPEN_PAGES = {"login", "link", "healthz", "readyz", "metrics"}  # the metrics have a lock of their own
# No records: it says as whom to log in, and is there only where TOUR_FILE names it.
TOUR = {"tour", "tour/<slug:slug>"}
# They say whether a record stands, to whoever holds its document and so knows its digest, and nothing else.
STANDS = {
    "stands/<slug:digest>", "stands/<slug:digest>/values/<int:setup_id>",
    "stands/<slug:digest>/<int:number>/<slug:word>/<slug:stamp>",
}  # fmt: skip
# They send whoever is not logged in to the login themselves, once what was typed is put by.
KEEP_WHAT_WAS_TYPED = {"inspections/<int:inspection_id>/worksheet", "inspections/<int:inspection_id>/witness"}


def patterns(resolver: URLResolver, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for each in resolver.url_patterns:
        path = prefix + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from patterns(each, path)
        else:
            yield path, each


def is_open(view: Any) -> bool:
    api_view = getattr(view, "cls", None)
    if api_view is not None:
        return not api_view.permission_classes or AllowAny in api_view.permission_classes
    return not getattr(view, "login_required", True)


def test_only_the_login_page_is_open():
    ours = [(path, each) for path, each in patterns(get_resolver()) if not path.startswith("admin/")]
    assert {path for path, each in ours if is_open(each.callback)} <= OPEN_PAGES | KEEP_WHAT_WAS_TYPED | STANDS | TOUR


def test_api_paths_carry_no_trailing_slash_and_stand_under_the_version():
    paths = [path for path, each in patterns(get_resolver()) if hasattr(each.callback, "cls")]
    assert [path for path in paths if path.endswith("/") or not path.startswith("api/v1/")] == []
