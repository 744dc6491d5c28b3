"""The page of tasks: what waits, runs, is done and has failed, in words, for administrators."""

import re
from datetime import timedelta
from html import unescape

import pytest
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from reels.services import tasks
from tests import builders
from tests.page_fixtures import hidden_in, logged_in
from tests.well_formed import faults_of
from tests.worker import be_refused, fail_always, work_off, write_lines

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_query_in_a_template")]


@pytest.fixture
def shown():
    client = logged_in(builders.administrator())

    def read():
        html = client.get("/tasks").content.decode()
        assert faults_of(html) == []
        return unescape(re.sub(r"\s+", " ", re.sub("<[^>]*>", "", html.partition("<main")[2])))

    return read


def test_before_anything_it_says_how_a_worker_is_started(shown):
    text = shown()
    assert "No worker has run yet: start manage.py run_worker." in text
    assert "Nothing waits." in text


def test_each_task_stands_under_its_state_and_says_how_far_it_is(shown):
    tasks.put(be_refused, key="a", title="A reel is looked up")
    tasks.put(fail_always, key="b", title="A sum")
    tasks.put(write_lines, 1, 3, key="c", title="Lines are written")
    work_off()
    running = tasks.put(write_lines, 2, 8, key="d", title="More lines are written")
    result = DBTaskResult.objects.get(pk=running.pk)
    result.claim("w1")
    held = tasks.lease(result, timezone.now())
    tasks.HeldTask(pk=running.pk, lease=held.lease).progress("line 5", 5, 8)
    tasks.beat("w1", {}, timezone.now() - timedelta(minutes=1))
    tasks.put(write_lines, 3, 8, key="e", title="Later lines are written")
    text = shown()
    assert "A worker said last at" in text
    assert "The oldest task that might be begun has waited since" in text
    at_work, waiting, failed, done = (text.index(word) for word in ("At work", "Waiting", "Failed", "Done"))
    assert at_work < text.index("More lines are written") < text.index("5 of 8") < waiting
    assert waiting < text.index("Later lines are written") < text.index("A sum") < failed
    assert text.index("A sum") < text.index("again at") < text.index("ArithmeticError: the sum is wrong") < failed
    assert failed < text.index("A reel is looked up") < text.index("There is no reel 'LW-9'") < done
    assert done < text.index("Lines are written")


def test_the_page_costs_the_same_for_one_task_as_for_ten(shown, count_queries):
    tasks.put(write_lines, 0, 1, key="0", title="lines")
    one = count_queries(shown)
    for number in range(1, 10):
        tasks.put(write_lines, number, 1, key=str(number), title="lines")
    assert count_queries(shown) == one


def test_an_administrator_stops_a_task_and_lets_it_go_on(shown):
    waiting = tasks.put(write_lines, 1, 3, key="lines", title="Lines are written")
    client, address = logged_in(builders.administrator()), f"/tasks/{waiting.pk}"
    assert "Stop it: Lines are written" in shown()
    for act, after in (("stop", "stopped"), ("resumption", "waiting")):
        form = hidden_in(client.get(f"{address}/{act}").content.decode())
        assert client.post(f"{address}/{act}", form).headers["Location"] == address
        assert f"Lines are written: {after}." in client.get(address).content.decode()
    work_off()
    assert "Done on" in client.get(address).content.decode()


def test_whose_task_it_is_sees_why_it_failed_and_tries_it_again_and_nobody_else_does(shown):
    pat = builders.make_person("pat")
    run = tasks.put(be_refused, key="refused", title="A reel is looked up", by=pat)
    work_off()
    assert logged_in(builders.make_person("sue")).get(f"/tasks/{run.pk}").status_code == 404
    client = logged_in(pat)
    html = client.get(f"/tasks/{run.pk}").content.decode()
    assert faults_of(html) == []
    assert "There is no reel &#x27;LW-9&#x27;" in html
    assert "Stop it" not in html
    form = hidden_in(client.get(f"/tasks/{run.pk}/retry").content.decode())
    client.post(f"/tasks/{run.pk}/retry", form)
    assert "A reel is looked up: waiting." in client.get(f"/tasks/{run.pk}").content.decode()
