"""Every route × everybody who may ask × read and write: the answers are those of the table in matrix.py."""

import json
import re
from datetime import timedelta
from html import unescape
from itertools import count
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver, resolve

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.practice import ReadinessRule
from inspections.domain.words import Act, Point, Role
from inspections.models import Photo
from inspections.services import authorisations, counting, flags, maintenance, safety_notices, setup, signing
from inspections.services.flags import FlaggedInterval
from inspections.services.intake import mappings, sheets
from inspections.services.setup import hold_machine
from reels.domain.type_rules import TypeRule
from reels.domain.words import Scope
from reels.models import HistoryEntry, Person, Reel
from reels.services import checkpoints, people, register, second_factor, tasks
from reels.services.history import Actor, record_act
from reports.services import assessments, evidence_task, export_task
from tests import builders, stories, witnessing
from tests.api_fixtures import NEW_TYPE, make_token
from tests.builders import NOW, PASSWORD, Cast, administrator, later
from tests.deploy.matrix import DONE_AND_SENT_ON, WHO, AccessRow, api_rows
from tests.deploy.page_matrix import PAGES
from tests.inspections.domain.photo_files import JPEG_BYTES
from tests.page_fixtures import on_the_day
from tests.practised import drawn, practised
from tests.reels.api.test_deny_by_default import walk
from tests.reels.services.test_second_factor import shown
from tests.worker import claimed, failed_task, stopped_task, write_lines
from tests.worlds import step

__all__ = ["on_the_day"]
pytestmark = pytest.mark.usefixtures("on_the_day")
_keys = count(1)


class EveryState:
    """One reel in each state, by the state's name as its serial number, and what hangs on them."""

    def __init__(self) -> None:
        self.cast = Cast()
        self.expired = builders.make_person("exa")
        for act in Act:
            builders.authorise(self.expired, act, site=builders.make_site(), valid_until=NOW - timedelta(days=1))
        for serial in ("PLAIN", "NO-GAUGE", "OPENED", "REFERRED", "WORKED", "SURPRISING", "SIGNED", "VOIDED", "TWICE",
                       "CUT", "INSTALLED", "HELD", "SENT", "PHOTOGRAPHED", "STOPPED", "DIFFERING",
                       "ASKED"):  # fmt: skip
            builders.make_reel(serial)
        builders.gauge_for(Reel.objects.get(serial="PLAIN"))
        for machine in ("RM-7", "RM-8"):
            builders.make_machine(machine)
        self.names = {
            **self._reels(),
            **self._counts(),
            **self._third_readings(),
            **self._photo(),
            **self._values(),
            **self._others(),
        }

    def _reels(self) -> dict[str, Any]:
        by: dict[str, Any] = {"actor": Actor(self.cast.control), "at": NOW}
        event = builders.log_cut(self.cast, "CUT")
        builders.make_machine("RM-9")
        maintenance.install(serial="INSTALLED", machine_serial="RM-9", **by)
        builders.sent(self.cast, "SENT")
        maintenance.place_hold(serial="HELD", reason="rust", **by)
        held, reel = builders.make_machine("RM-HELD"), Reel.objects.get(serial="HELD")
        with record_act(reel.chain, "machine_held", **by) as act:
            hold_machine(act, held, reel, "it slips")
        facts = SafetyNoticeFields(
            reference="SN-7", site="kettle-point", cable_lot="lot 9", reason="slips", answers=["holds_reels"]
        )
        notice = safety_notices.issue(facts=facts, **by)
        finding = builders.record_finding(self.cast.technician, "STOPPED", photo=JPEG_BYTES)
        used = builders.log_event(self.cast, "used", "CUT")
        return {"event": event.pk, "reel_event": used.pk, "finding": finding.pk, "notice": notice.pk}

    def _counts(self) -> dict[str, Any]:
        cast = self.cast
        referred = builders.open_count(cast, "REFERRED")
        stories.ask_for_help(cast, referred)
        worked = builders.read(cast, builders.open_count(cast, "WORKED"))
        for week in range(4):
            builders.signed_count(cast, "SURPRISING", at=later(days=week - 30))
        fewer = builders.read(cast, builders.open_count(cast, "SURPRISING"), hand_wraps=5, gauge_wraps=5)
        void_asked = builders.signed_count(cast, "VOIDED")
        signing.request_void(inspection_id=void_asked.pk, reason="wrong", actor=Actor(cast.verifier), at=NOW)
        twice = [builders.signed_count(cast, "TWICE", at=later(days=day)).done_at for day in (-20, 0)]
        return {
            "publication": builders.make_publication().pk,
            "without_gauge": builders.open_count(cast, "NO-GAUGE", has_gauge=False).pk,
            "opened": builders.open_count(cast, "OPENED").pk, "referred": referred.pk, "worked": worked.pk,
            "surprising": fewer.pk, "signed": builders.signed_count(cast, "SIGNED").pk, "void_asked": void_asked.pk,
            "from_at": twice[0].isoformat(), "to_at": twice[1].isoformat(),
        }  # fmt: skip

    def _third_readings(self) -> dict[str, Any]:
        """One that could be asked for, and one that is awaited."""
        differing, asked = (
            stories.differ(self.cast, stories.key_both(self.cast, builders.open_count(self.cast, serial),
                                                       *stories.BEFORE_THE_SCALES))
            for serial in ("DIFFERING", "ASKED")
        )  # fmt: skip
        stories.third_person(self.cast)
        third = stories.ask_third(self.cast, asked)
        return {"differing": differing.pk, "asked": asked.pk, "third": third.pk}

    def _photo(self) -> dict[str, Any]:
        """One that is no longer blind."""
        count = builders.open_count(self.cast, "PHOTOGRAPHED")
        stories.key_both(self.cast, count, *stories.BEFORE_THE_SCALES)
        photos = {Point.SCALE_LEFT: JPEG_BYTES}
        for role, person in ((Role.TECHNICIAN, self.cast.technician), (Role.VERIFIER, self.cast.verifier)):
            counting.key_points(inspection_id=count.pk, role=role, by_point={Point.SCALE_LEFT: {"scale_left": 13}},
                                actor=Actor(person), at=NOW, photos=photos)  # fmt: skip
        return {"photographed": count.pk, "photo": Photo.objects.order_by("pk")[0].pk}

    def _values(self) -> dict[str, Any]:
        """Setup values after each of the steps that lead to their confirmation."""
        found: dict[str, Any] = {}
        for n, reached in enumerate(("issued", "gauge_back", "read_back", "confirmed")):
            serial, machine = reached.upper(), f"RM-1{n}"
            builders.make_reel(serial)
            builders.signed_count(self.cast, serial)
            values = builders.issued(self.cast, serial, machine)
            maintenance.install(serial=serial, machine_serial=machine, actor=Actor(self.cast.control), at=NOW)
            self._go_on(values, n)
            found[reached] = values.pk
        found["record"] = values.inspection.record.digest
        return found

    def _go_on(self, values: Any, steps: int) -> None:
        numbers: dict[str, Any] = {"setup_id": values.pk, "layers": 12, "wraps": 10, "at": NOW}
        acts = (
            lambda: setup.return_gauge(setup_id=values.pk, actor=Actor(self.cast.setter), at=NOW),
            lambda: setup.key_read_back(actor=Actor(self.cast.setter), **numbers),
            lambda: setup.confirm(actor=Actor(self.cast.confirmer), **numbers),
        )
        for act in acts[:steps]:
            act()

    def _others(self) -> dict[str, Any]:
        interval = FlaggedInterval(from_at=later(days=-9), to_at=NOW, p_unlogged_cut=0.9, explanation="shorter")
        flag = flags.assign_flag(
            serial="PLAIN", interval=interval, to=self.cast.control, actor=Actor(self.cast.control), at=NOW
        )
        self.tokens = {person.pk: make_token(person, *Scope) for person in (*vars(self.cast).values(), administrator())}
        assessments.bring_up_to_date(at=NOW)
        self._newcomer()
        self._type_to_confirm()
        made = checkpoints.make(NOW)
        return {
            "practised": practised(self.cast.colleague).pk, "practising": drawn(self.cast.colleague).pk,
            "trainee": self.cast.colleague.pk, "flag": flag.pk,
            "token": administrator().tokens.get().pk, "checkpoint": made.entries,
            "witness": witnessing.witness().pk, "countersignature": witnessing.countersigned_text(made.text),
            "authorisation": self.cast.technician.authorisations.earliest("pk").pk,
            "posting": self.cast.technician.postings.earliest("pk").pk,
            "kind": builders.make_finding_kind("matrix").pk, "readiness_rule": self._readiness_rule(),
            "task": tasks.put(write_lines, 1, 1, key="lines", title="Lines are written").pk,
            "export": self._export(), "evidence": self._evidence(),
            "stopped_task": stopped_task().pk, "failed_task": failed_task().pk,
            "upload": self._upload().pk,
            "mapping": mappings.keep(name="of the base", understood=sheets.understanding_of(self._upload()), used=None,
                                     actor=Actor(administrator()), at=NOW).pk,
            "digest": Reel.objects.get(serial="PLAIN").chain.head,
            "reels_csv": "serial,type,site,received_on,cable_length_m\nLX-1,w28,kettle-point,2024-01-02,400\n",
        }  # fmt: skip

    def _upload(self) -> Any:
        wrong = b"serial,type,site,received_on,cable_length_m\nLX-1,,,,\n"
        return sheets.begin(wrong, "reels.csv", person=administrator(), at=NOW)

    def _readiness_rule(self) -> Any:
        site, rule = builders.make_site("aldermere", "Aldermere"), ReadinessRule()
        by = builders.by_administrator()
        return authorisations.ask_readiness(site=site, act=Act.INSTRUCT, rule=rule, **by).pk

    def _export(self) -> Any:
        """One that the verifier has asked for and the worker has put together."""
        run = export_task.have_exported({}, actor=Actor(self.cast.verifier), at=NOW)
        held = claimed(run)
        context = tasks.HeldTask(pk=run.pk, lease=held.lease)
        tasks.succeed(held, export_task.put_together.func(context, self.cast.verifier.pk, NOW.isoformat()))
        return run.pk

    def _evidence(self) -> Any:
        """One that the administrator has asked for and the worker has put together."""
        run = evidence_task.have_evidence(reels=[], since=None, actor=Actor(administrator()), at=NOW)
        held = claimed(run)
        context = tasks.HeldTask(pk=run.pk, lease=held.lease)
        work = evidence_task.put_evidence_together.func
        tasks.succeed(held, work(context, administrator().pk, NOW.isoformat()))
        return run.pk

    def _type_to_confirm(self) -> None:
        """A type that waits for a confirmation by another than the second administrator."""
        by: dict[str, Any] = {"actor": Actor(builders.second_administrator()), "at": NOW}
        fields: dict[str, Any] = {**NEW_TYPE, "code": "w31"}
        made = register.add_reel_type(**fields, **by)
        paragraphs = dict.fromkeys(TypeRule, "para. 4.2")
        register.source_rules(made, publication="LWS 12-3", revision="C", paragraphs=paragraphs, **by)

    def _newcomer(self) -> None:
        """Somebody who waits for an enrolment by another than the second administrator, and has a second factor."""
        by: dict[str, Any] = {"actor": Actor(builders.second_administrator()), "at": NOW}
        person = people.add_person(username="newcomer", full_name="New Comer", staff_number="N-1", password=PASSWORD,
                                   **by)  # fmt: skip
        secret = second_factor.begin(actor=Actor(person), at=NOW)
        second_factor.confirm(code=shown(secret), actor=Actor(person), at=NOW)

    def way(self, who: str, right: Person) -> tuple[Client, dict[str, str]]:
        """A client for one of WHO, and its headers."""
        client = Client(raise_request_exception=False)
        people = {
            "stranger": self.cast.stranger, "colleague": self.cast.colleague, "expired": self.expired, "right": right,
            "administrator": administrator(),
        }  # fmt: skip
        if who in people:
            client.force_login(people[who])
        return client, {"Authorization": f"Bearer {self.tokens[right.pk]}"} if who == "script" else {}

    def filled(self, text: str) -> str:
        for name, value in self.names.items():
            text = text.replace("{" + name + "}", json.dumps(value)[1:-1] if isinstance(value, str) else str(value))
        return text

    def asked(self, row: AccessRow, who: str) -> tuple[Any, int]:
        """The answer, and how many history entries it left; all of it is undone."""
        right = administrator() if row.right == "administrator" else getattr(self.cast, row.right)
        client, headers = self.way(who, right)
        path = self.filled(row.path if row.path.startswith("/") else f"/api/v1/{row.path}")
        if row.method in ("POST", "PATCH"):
            headers |= {"Idempotency-Key": f'"m{next(_keys)}"', "If-Match": "*"}
        before = HistoryEntry.objects.count()
        with transaction.atomic():
            if row.method == "POST" and not path.startswith("/api/"):
                answer = client.post(path, {"token": f"m{next(_keys)}"}, headers=headers)
            else:
                answer = client.generic(
                    row.method, path, self.filled(json.dumps(row.body)) if row.method != "GET" else b"",
                    content_type="application/json", headers=headers,
                )  # fmt: skip
            told = HistoryEntry.objects.count() - before
            transaction.set_rollback(True)
        return answer, told


@step
def make_every_state() -> EveryState:
    return EveryState()


@pytest.fixture
def world(db):
    return make_every_state()


def got(row: AccessRow, answer: Any) -> int:
    return 2 if 200 <= answer.status_code < 300 else int(answer.status_code)


def differences(world: EveryState, rows: tuple[AccessRow, ...], who: str) -> dict[str, str]:
    """Each cell of one column that is not as the table says; and each refusal that left something recorded."""
    found = {}
    for row in rows:
        answer, told = world.asked(row, who)
        wanted = row.rule[WHO.index(who)]
        if got(row, answer) != wanted:
            body = b"" if answer.streaming else answer.content[:300]
            found[f"{row.method} {row.name}"] = f"{answer.status_code}, not {wanted}: {body!r}"
        elif wanted not in (2, DONE_AND_SENT_ON) and told:
            found[f"{row.method} {row.name}"] = f"{answer.status_code}, and {told} entries were recorded"
    return found


@pytest.mark.parametrize("who", WHO)
def test_every_operation_of_the_api_answers_as_the_table_says(world, who):
    assert differences(world, api_rows(world.cast), who) == {}


@pytest.mark.parametrize("who", WHO)
def test_every_page_is_shown_as_the_table_says(world, who):
    assert differences(world, PAGES, who) == {}


def test_every_operation_has_a_row_and_every_row_its_operation(world):
    rows = {row.name: row for row in api_rows(world.cast)}
    operations = set()
    for path, each in walk(get_resolver()):
        view = getattr(each.callback, "cls", None)
        for method in ("get", "post", "patch", "delete") if path.startswith("api/") else ():
            operation = getattr(getattr(view, method, None), "operation", None)
            if operation is not None:
                operations.add(operation.id)
    assert operations == set(rows)
    for row in rows.values():
        view = resolve(world.filled(f"/api/v1/{row.path}").split("?")[0]).func
        assert getattr(view.cls, row.method.lower()).operation.id == row.name  # type: ignore[attr-defined]


# A day and a time, and then no zone: "UTC", "CET", "+03".
BARE_TIME = re.compile(r"(?:\d{4}|-\d\d),? \d{1,2}:\d\d(?::\d\d)?(?!:?\d)(?! (?:[A-Z]{2,5}\b|[+-]\d\d))")


def test_no_page_shows_a_time_without_its_zone(world):
    bare = {}
    for row in PAGES:
        answer, _ = world.asked(row, "right") if row.method == "GET" else (None, 0)
        if answer and answer.headers.get("Content-Type", "").startswith("text/html"):
            shown = " ".join(unescape(re.sub(r"<[^>]+>", "", answer.content.decode().replace("<br>", " "))).split())
            if found := BARE_TIME.findall(shown):
                bare[row.name] = found
    assert bare == {}


def test_what_a_bare_time_is():
    bare = ["on 2 Mar 2026, 09:30 by", "2026-03-02 09:30:15.", "2026-03-02 9:30"]
    zoned = ["2 Mar 2026, 09:30 CET by", "2026-03-02 09:30:15 UTC", "2 Mar 2026, 09:30 -03", "in 2026"]
    assert [bool(BARE_TIME.search(text)) for text in (*bare, *zoned)] == [True] * 3 + [False] * 4


def test_every_page_has_a_row():
    pages = {path for path, _ in walk(get_resolver()) if not path.startswith(("api/", "admin/"))}
    assert pages - {row.name for row in PAGES} == set()


@pytest.mark.parametrize("who", ["stranger", "administrator"])
def test_lists_show_nothing_of_a_site_where_one_is_not_posted(world, who):
    """Their rows answer 2 for everybody: here is what is in them."""
    right = world.cast.colleague
    client, _ = world.way(who, right)
    colleague, _ = world.way("colleague", right)
    for path in (
        "reels",
        "machines",
        "sites",
        "inspections",
        "setup-values",
        "drift-flags",
        "changes",
        "reports/drift",
    ):
        assert names_in(colleague, path), path
        assert names_in(client, path) == [], path


def names_in(client: Client, path: str) -> list[str]:
    """Which of these of Kettle Point a list shows."""
    shown = client.get(f"/api/v1/{path}").getvalue().decode()
    return [name for name in ('"PLAIN"', '"RM-', '"kettle-point"', '"TWICE"', '"ISSUED"') if name in shown]
