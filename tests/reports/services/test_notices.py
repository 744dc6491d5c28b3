"""Notices: from what stands, to whom they go, and that no cause is mailed twice."""

import re
from typing import Any

import pytest
from django.db import IntegrityError, connections, transaction

from inspections.domain.drift.records import Ending
from inspections.domain.words import Act
from inspections.services import authorisations, flags, maintenance, setup
from inspections.services.flags import FlaggedInterval
from reels.models import Posting
from reels.services import people, register
from reels.services.history import Actor
from reports.domain.notices import NoticeKind, NoticeState
from reports.models import Notice, NoticeChoice
from reports.queries.notices import standing_causes
from reports.services import notices
from tests import builders
from tests.builders import NOW, Cast, later
from tests.reports.noticed import asks, no_links, run, server
from tests.served import at_once

__all__ = ["server"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    builders.make_reel()
    return Cast()


@pytest.fixture
def mona(cast):
    asks(cast.control)
    return cast.control


def by(person, at=NOW):
    return {"actor": Actor(person), "at": at}


def hold(cast, serial="LW-0001", at=NOW, by_whom=None):
    return maintenance.place_hold(serial=serial, reason="rust", **by(by_whom or cast.control, at))


def set_values(cast):
    """Values in force, their reel installed and the gauge back."""
    builders.signed_count(cast)
    values = builders.issued(cast)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", **by(cast.control))
    setup.return_gauge(setup_id=values.pk, **by(cast.setter))
    return values


def read_back(cast, values, wraps, at=NOW):
    return setup.key_read_back(setup_id=values.pk, layers=12, wraps=wraps, **by(cast.setter, at))


def flagged(cast):
    interval = FlaggedInterval(from_at=later(days=-9), to_at=NOW, p_unlogged_cut=0.9, explanation="shorter")
    return flags.assign_flag(serial="LW-0001", interval=interval, to=cast.control, **by(cast.control))


def kinds(at=NOW):
    return [cause.kind for cause in standing_causes(at)]


# What stands --------------------------------------------------------------------------------------------------------


def test_a_hold_stands_until_it_ends(cast):
    hold(cast)
    assert kinds() == [NoticeKind.HOLD]
    maintenance.end_hold(serial="LW-0001", reason="cleaned", **by(cast.control))
    assert kinds() == []


def test_a_cause_that_is_older_than_a_month_is_not_mailed_any_more(cast):
    hold(cast)
    assert (kinds(later(days=30)), kinds(later(days=31))) == ([NoticeKind.HOLD], [])


def test_withdrawn_values_stand_until_others_are_issued(cast):
    builders.signed_count(cast)
    builders.issued(cast)
    builders.log_cut(cast, at=later(hours=1))
    assert kinds(later(hours=1)) == [NoticeKind.WITHDRAWAL]
    builders.signed_count(cast, at=later(hours=2), hand_wraps=11, gauge_wraps=11)
    builders.issued(cast, at=later(hours=3))
    assert kinds(later(hours=3)) == []


def test_a_refused_read_back_is_one_cause_until_one_matches(cast):
    values = set_values(cast)
    first = read_back(cast, values, wraps=11)
    read_back(cast, values, wraps=9, at=later(minutes=1))
    assert [(cause.kind, cause.key) for cause in standing_causes(NOW)] == [(NoticeKind.READ_BACK, first.pk)]
    read_back(cast, values, wraps=10, at=later(minutes=2))
    assert kinds() == []
    setup.confirm(setup_id=values.pk, layers=12, wraps=11, **by(cast.confirmer, later(minutes=3)))
    [cause] = standing_causes(later(minutes=3))
    assert (cause.kind, cause.since) == (NoticeKind.READ_BACK, later(minutes=3))


def test_a_flag_stands_until_it_is_closed(cast):
    flag = flagged(cast)
    assert kinds() == [NoticeKind.FLAG]
    flags.look_into_flag(flag_id=flag.pk, finding="no work order", **by(cast.control))
    flags.close_flag(flag_id=flag.pk, ending=Ending.UNEXPLAINED, reason="nothing found", **by(cast.control))
    assert kinds() == []


def test_an_authorisation_is_told_a_month_before_it_ends_unless_another_goes_on(cast):
    site = builders.make_site()
    builders.authorise(cast.colleague, Act.COUNT, site=site, valid_until=later(days=31))
    assert (kinds(), kinds(later(days=1)), kinds(later(days=31))) == ([], [NoticeKind.AUTHORISATION], [])
    builders.authorise(cast.colleague, Act.COUNT, site=site, valid_from=later(days=32))
    assert kinds(later(days=1)) == [NoticeKind.AUTHORISATION]  # a day is between them
    builders.authorise(cast.colleague, Act.COUNT, valid_until=later(days=90))
    assert kinds(later(days=1)) == []


def test_an_authorisation_that_was_ended_is_not_told(cast):
    builders.authorise(cast.colleague, Act.COUNT, valid_until=later(days=20))
    [ending] = cast.colleague.authorisations.all()
    authorisations.end(authorisation=ending, reason="left", actor=Actor(builders.administrator()), at=NOW)
    assert kinds() == []


def test_looking_costs_the_same_for_one_reel_as_for_ten(cast, mona, count_queries):
    hold(cast)
    run()
    one = count_queries(run)
    for number in range(9):
        builders.make_reel(f"R{number}")
        hold(cast, f"R{number}")
    run()
    assert count_queries(run) == one


# Who is told --------------------------------------------------------------------------------------------------------


def test_one_cause_is_one_mail_to_each_who_asked(cast, mona, server):
    asks(cast.verifier)
    hold(cast)
    assert run().sent == 2
    assert [run(later(minutes=minutes)).sent for minutes in (1, 10, 600)] == [0, 0, 0]
    assert sorted(server.recipients) == ["mona@mail.example", "vic@mail.example"]
    assert server.subjects == ["Wrapledger: reel LW-0001 is held (Kettle Point)"] * 2


def test_another_hold_is_another_cause(cast, mona, server):
    hold(cast)
    run()
    maintenance.end_hold(serial="LW-0001", reason="cleaned", **by(cast.control))
    hold(cast, at=later(hours=1))
    assert (run(later(hours=2)).sent, len(server.mails)) == (1, 2)


def test_a_hold_and_the_values_that_end_with_it_are_one_mail(cast, mona, server):
    asks(cast.verifier, NoticeKind.WITHDRAWAL)
    set_values(cast)
    hold(cast)
    run()
    assert sorted(zip(server.recipients, server.subjects, strict=True)) == [
        ("mona@mail.example", "Wrapledger: reel LW-0001 is held (Kettle Point)"),
        ("vic@mail.example", "Wrapledger: the setup values of reel LW-0001 are withdrawn (Kettle Point)"),
    ]
    maintenance.end_hold(serial="LW-0001", reason="cleaned", **by(cast.control, later(hours=1)))
    assert run(later(hours=2)).sent == 0


def test_only_the_sites_that_were_chosen_and_that_one_may_see(cast, server):
    far, near = builders.make_site("aldermere", "Aldermere"), builders.make_site()
    builders.make_reel("FAR", site=far)
    asks(cast.stranger)  # every site that she may see: Aldermere
    asks(cast.control, NoticeKind.HOLD, site=far)  # not to be seen by her
    asks(cast.verifier, NoticeKind.HOLD, site=near)
    hold(cast)
    maintenance.place_hold(serial="FAR", reason="rust", **by(cast.stranger))
    run()
    assert sorted(zip(server.recipients, server.subjects, strict=True)) == [
        ("stella@mail.example", "Wrapledger: reel FAR is held (Aldermere)"),
        ("vic@mail.example", "Wrapledger: reel LW-0001 is held (Kettle Point)"),
    ]


def test_whose_posting_has_ended_or_account_is_closed_is_not_told(cast, mona, server):
    asks(cast.verifier)
    admin: dict[str, Any] = {"actor": Actor(builders.administrator()), "at": NOW}
    [posting] = Posting.objects.filter(person=cast.verifier)
    register.change(posting, valid_until=NOW, **admin)
    people.change_person(mona, is_active=False, **admin)
    max_ = builders.make_person("max", Act.MAINTAIN)
    hold(cast, by_whom=max_)
    assert (run().sent, server.mails) == (0, [])


def test_an_ending_authorisation_is_told_to_its_owner_and_to_administrators(cast, server):
    for person in (cast.technician, cast.colleague, builders.administrator()):
        asks(person, NoticeKind.AUTHORISATION)
    builders.authorise(cast.colleague, Act.COUNT, site=builders.make_site(), valid_until=later(days=20))
    run()
    assert sorted(server.recipients) == ["ada@mail.example", "noel@mail.example"]
    assert "of Noel Grant to count, for every reel type, ends soon" in server.subjects[0]


def test_no_address_or_nothing_chosen_is_no_mail(cast, server):
    notices.choose(cast.control, address="", chosen=[(NoticeKind.HOLD, None)], at=NOW)
    notices.choose(cast.verifier, address="vic@mail.example", chosen=[], at=NOW)
    hold(cast)
    assert (run().sent, Notice.objects.count()) == (0, 0)


def test_a_mail_tells_no_count_no_values_and_nothing_that_was_typed(cast, mona, server):
    values = set_values(cast)
    read_back(cast, values, wraps=11)
    flagged(cast)
    run()
    setup.withdraw(setup_id=values.pk, reason="wrong wire", **by(cast.control))
    run(later(minutes=1))
    bodies = [mail.get_content() for _, mail in server.mails]
    assert len(bodies) == 3
    for body in bodies:
        assert not re.search(r"\b(10|11|12)\b|rust|wrong wire|shorter|0\.9", body)
        assert "LW-0001" in body


def test_a_choice_takes_the_place_of_the_one_before(cast, mona):
    asks(mona, NoticeKind.FLAG, site=builders.make_site())
    [choice] = NoticeChoice.objects.all()
    assert (choice.kind, choice.site) == ("flag", builders.make_site())


@pytest.mark.parametrize("site", [None, "kettle-point"])
def test_the_database_takes_a_choice_and_a_notice_once(cast, site):
    row = {"person": cast.control, "kind": "hold", "site": builders.make_site() if site else None}
    NoticeChoice.objects.create(**row)
    with pytest.raises(IntegrityError), transaction.atomic():
        NoticeChoice.objects.create(**row)
    columns = {"person": cast.control, "kind": "hold", "cause": 1, "found_at": NOW}
    Notice.objects.create(**columns)
    with pytest.raises(IntegrityError), transaction.atomic():
        Notice.objects.create(**columns)


# What can go wrong --------------------------------------------------------------------------------------------------


def test_a_refused_recipient_keeps_its_notice_and_no_other(cast, mona, server):
    asks(cast.verifier)
    hold(cast)
    server.refuses.add("mona@mail.example")
    outcome = run()
    assert (outcome.sent, len(outcome.refused), server.recipients) == (1, 1, ["vic@mail.example"])
    kept = Notice.objects.get(person=mona)
    assert (kept.state, kept.tries, "nobody here" in kept.last_error) == (NoticeState.WAITING, 1, True)
    assert run(later(minutes=4)).refused == []
    server.refuses.clear()
    assert run(later(minutes=10)).sent == 1
    kept.refresh_from_db()
    assert (kept.state, kept.tries, kept.last_error, kept.sent_at) == (NoticeState.SENT, 2, "", later(minutes=10))


def test_a_mail_that_is_refused_whole_is_tried_again(cast, mona, server):
    hold(cast)
    server.at_data = "452 no room"
    assert len(run().refused) == 1
    server.at_data = "250 taken"
    assert (run(later(minutes=10)).sent, len(server.mails)) == (1, 1)


@pytest.mark.parametrize("greeting", ["421 not now", "554 go away"])
def test_a_server_that_lets_nobody_in_ends_the_run_and_nothing_is_lost(cast, mona, server, greeting):
    asks(cast.verifier)
    hold(cast)
    server.greeting = greeting
    assert "did not let us in" in run().stopped
    assert set(Notice.objects.values_list("state", "tries")) == {("waiting", 0)}
    server.greeting = "220 again"
    assert (run(later(minutes=1)).sent, len(server.mails)) == (2, 2)


def test_no_server_at_all_is_said_and_nothing_is_lost(cast, mona, settings, server):
    hold(cast)
    settings.EMAIL_PORT = 1
    assert "refused" in run().stopped
    settings.EMAIL_PORT = server.port
    assert run(later(minutes=1)).sent == 1


def test_an_answer_that_does_not_come_leaves_it_for_a_person(cast, mona, server):
    hold(cast)
    server.lets_go = True
    assert len(run().in_doubt) == 1
    server.lets_go = False
    assert [run(later(hours=hour)).sent for hour in (1, 2, 48)] == [0, 0, 0]
    assert len(server.mails) == 1  # it did arrive: sent again by itself, it would have come twice
    [left] = notices.interrupted(later(hours=1))
    assert notices.resolve_interrupted([left.pk], as_sent=True, at=later(hours=1)) == [left.pk]
    assert (Notice.objects.get().state, notices.interrupted(later(hours=2))) == (NoticeState.SENT, [])


def test_a_process_that_is_killed_while_it_sends_leaves_it_for_a_person(cast, mona, server, monkeypatch):
    def killed(*_):
        raise SystemExit("killed")

    hold(cast)
    with monkeypatch.context() as dying:
        dying.setattr("django.core.mail.backends.smtp.EmailBackend.send_messages", killed)
        with pytest.raises(SystemExit):
            run()
    assert (run(later(hours=1)).sent, server.mails) == (0, [])
    [left] = notices.interrupted(later(hours=1))
    assert notices.resolve_interrupted([left.pk], as_sent=False, at=later(hours=1)) == [left.pk]
    assert (run(later(hours=1)).sent, len(server.mails)) == (1, 1)


def test_one_that_is_being_sent_is_not_settled_by_anybody(cast, mona):
    hold(cast)
    Notice.objects.create(person=mona, kind="hold", cause=99, state="sending", found_at=NOW, tried_at=NOW)
    [one] = Notice.objects.values_list("pk", flat=True)
    assert notices.resolve_interrupted([one], as_sent=False, at=later(minutes=9)) == []


def test_what_is_over_before_it_could_be_sent_is_not_sent(cast, mona, server):
    hold(cast)
    server.at_data = "452 no room"
    run()
    maintenance.end_hold(serial="LW-0001", reason="cleaned", **by(cast.control))
    server.at_data = "250 taken"
    assert (run(later(minutes=10)).sent, Notice.objects.count(), server.mails) == (0, 0, [])


def test_a_choice_taken_back_is_no_mail(cast, mona, server):
    hold(cast)
    server.at_data = "452 no room"
    run()
    asks(mona, NoticeKind.FLAG)
    server.at_data = "250 taken"
    assert (run(later(minutes=10)).sent, server.mails) == (0, [])


def test_what_was_sent_a_year_ago_is_not_kept_and_not_sent_again(cast, mona, server):
    asks(mona)
    hold(cast)
    assert run().sent == 1
    assert run(later(days=365)).sent == 0
    assert Notice.objects.count() == 1
    assert run(later(days=366)).sent == 0
    assert (Notice.objects.count(), len(server.mails)) == (0, 1)


# Two at once --------------------------------------------------------------------------------------------------------


def test_a_run_that_is_overtaken_by_another_sends_nothing_again(cast, mona, server):
    """The second run does all its work after the first has listed what waits, and before it marks the first of it."""
    for serial in ("R1", "R2"):
        builders.make_reel(serial)
        hold(cast, serial)
    others: list[int] = []

    def links(cause):
        if not others:
            others.append(run().sent)
        return no_links(cause)

    assert (notices.run(lambda: NOW, links).sent, others) == (0, [2])
    assert len(server.mails) == 2


def in_a_thread():
    try:
        return run(later(minutes=1))
    finally:
        connections.close_all()


@pytest.mark.django_db(transaction=True)
def test_runs_at_the_same_moment_send_each_notice_once(transactional_db, server):
    cast = Cast()
    for person in (cast.control, cast.verifier):
        asks(person, NoticeKind.HOLD)
    for number in range(6):
        builders.make_reel(f"R{number}")
        hold(cast, f"R{number}")
    outcomes = at_once(*[in_a_thread] * 4)
    assert sum(outcome.sent for outcome in outcomes) == len(server.mails) == 12
    each = {(recipient, str(mail["Subject"])) for recipient, mail in server.mails}
    assert (len(each), set(Notice.objects.values_list("state", flat=True))) == (12, {"sent"})
