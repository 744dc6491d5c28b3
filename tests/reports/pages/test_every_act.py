"""Every form of an act, found from the URL configuration: sent twice, gone back to, and sent from a second window."""

from typing import Any

import pytest
from django.apps import apps
from django.test import Client
from django.urls import get_resolver

from inspections.models import Draft
from reels.models import Submission
from reels.pages.acts import ActView
from reports.models import AssessedInterval, Assessment
from tests import builders
from tests.builders import Cast
from tests.deploy.page_matrix import NEVER, NO_METHOD, PAGES, PUBLIC_NO_METHOD
from tests.page_fixtures import logged_in
from tests.page_forms import Forms
from tests.reels.api.test_deny_by_default import walk
from tests.reports.pages.forms_of_acts import SECRET, Opened
from tests.reports.pages.forms_of_tasks import CASES

pytestmark = pytest.mark.usefixtures("on_the_day")

NO_ACT = {
    "link": "good once; nobody is there yet to have sent it before",
    "login": "nobody is there yet to have sent it before",
    "logout": "there is nothing more to end",
    "length-unit": "how one's own pages are shown; the same again changes nothing",
    "types/drum": "draws, and stores nothing",
    "imports/sheet": "looks at a file, and stores none of its rows",
    "imports/sheet/<uuid:pk>": "says how a file is read, and stores none of its rows",
    "documents/check": "looks at a file, and stores nothing",
    "inspections/<int:inspection_id>/draft": "what is being typed, kept again and again",
    "inspections/<int:inspection_id>/drawing/<slug:role>": "draws, and stores nothing",
}
# The first needs the page before it (tests/reels/pages/test_account.py), the second takes files
# (tests/inspections/pages/test_imports.py), the third shows a secret once (tests/reels/pages/test_tokens.py), as do
# those of people; the last stands on the page before it (tests/inspections/pages/test_sheets.py).
ELSEWHERE = {
    "second-factor:confirm",
    "import",
    "token-issue",
    "people-add",
    "person-link",
    "second-administrator",
    "sheet-store",
}
# The answers themselves, what is typed and not yet sent, and what is worked out again from the records.
NOT_STORED = (Submission, Draft, Assessment, AssessedInterval)


def acts() -> dict[str, type[ActView]]:
    return {str(each.name): vars(each.callback)["view_class"] for _, each in walk(get_resolver()) if is_act(each)}


def is_act(pattern: Any) -> bool:
    return issubclass(getattr(pattern.callback, "view_class", object), ActView)


def test_no_act_is_forgotten():
    assert len(acts()) > 30
    expected = {f"{name}:{act}" if act else name for name, view in acts().items() for act in view.acts or ("",)}
    tried = {case if acts()[case.split(":")[0]].acts else case.split(":")[0] for case in CASES}
    assert {case.split(" ")[0] for case in tried} == expected - ELSEWHERE


def test_whatever_takes_a_form_and_is_no_act_says_why():
    refuse = (NO_METHOD, NEVER, PUBLIC_NO_METHOD)
    taking = {row.name for row in PAGES if row.method == "POST" and row.rule not in refuse}
    assert taking - {path for path, each in walk(get_resolver()) if is_act(each)} == set(NO_ACT)


def stored() -> dict[str, Any]:
    """Every row of ours with all its columns."""
    ours = [model for app in ("reels", "inspections", "reports") for model in apps.get_app_config(app).get_models()]
    return {model.__name__: list(model._base_manager.order_by("pk").values()) for model in ours
            if model not in NOT_STORED}  # fmt: skip


class Window:
    """A form that is open in a window of a browser: what it holds that nobody types."""

    def __init__(self, client: Client, opened: Opened) -> None:
        self.client, self.opened = client, opened
        page = client.get(opened.page or opened.address)
        assert page.status_code == 200, page.content
        self.form = Forms(page.content.decode()).of_act(opened.marks)

    def send(self, **altered: str) -> Any:
        return self.client.post(self.opened.address, {**self.form, **self.opened.typed, **altered})


def refused(answer: Any, typed: dict[str, str]) -> str:
    """The page of a refusal, with what was typed, but for secrets."""
    html: str = answer.content.decode()
    assert answer.status_code == 422, (answer.status_code, answer.headers, html)
    kept = {name: value for name, value in typed.items() if name not in SECRET}
    assert Forms(html).hold(kept), (kept, Forms(html).forms)
    return html


@pytest.mark.django_db
@pytest.mark.parametrize("name", CASES)
def test_a_form_is_carried_out_once_and_loses_nothing(name):
    builders.make_reel()
    builders.make_machine()
    opened = CASES[name](Cast())
    client = logged_in(opened.person)
    first_window, second_window = Window(client, opened), Window(client, opened)
    before = stored()

    first = first_window.send()
    assert first.status_code == opened.status, first.content.decode()
    after = stored()
    assert after != before

    if name not in LEADS_ON and opened.status == 302:
        assert Submission.objects.latest("pk").body, "the next page says nothing of what was done"

    repeat = first_window.send()  # a double tap; after a look at the next page, the back button
    assert (repeat.status_code, repeat.headers.get("Location")) == (opened.status, first.headers.get("Location"))
    assert stored() == after
    if opened.status == 422:
        assert errors(refused(repeat, opened.typed)) == errors(first.content.decode()) != []

    if opened.altered:
        html = refused(first_window.send(**opened.altered), {**opened.typed, **opened.altered})
        assert "the same form was sent before with other values" in html
        assert stored() == after

    if name not in ANEW:
        refused(second_window.send(), opened.typed)
        assert stored() == after


LEADS_ON = {  # the next page is the next step, or shows what has begun
    "count-begin", "worksheet-technician", "worksheet-verifier", "second-factor:begin", "practice", "practice-reel",
    "practice-reel:stand", "practice-reel:result", "practice-reel:stop", "export", "evidence", "verification",
}  # fmt: skip
ANEW = {  # from a second window it is a second act, or a second wrong password, that counts for itself
    "end-sessions", "second-factor:begin", "change-password:refused", "result:sign refused", "change-password",
    "verification", "export", "evidence", "unlock-login",
    "checkpoint-countersign",  # the same text again is what is kept already
}  # fmt: skip


def errors(html: str) -> list[str]:
    return [part.split("</span>")[0] for part in html.split('_error">')[1:]] or html.split('role="alert"')[1:][:1]
