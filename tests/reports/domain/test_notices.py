"""Who wants which notice, when it is tried again, and what it says."""

from datetime import UTC, datetime, timedelta

import pytest

from reports.domain.notices import TO_DO, Cause, NoticeKind, Reader, is_due, subject, text, wants

SINCE = datetime(2026, 3, 2, 9, 5, tzinfo=UTC)
HERE, THERE = 1, 2
HOLD, WITHDRAWAL, AUTHORISATION = NoticeKind.HOLD, NoticeKind.WITHDRAWAL, NoticeKind.AUTHORISATION
FINDING = NoticeKind.FINDING


def cause(kind=HOLD, site=HERE, **more):
    facts = {"key": 7, "since": SINCE, "site_name": "Kettle Point", "reel": "LW-0001", **more}
    return Cause(kind=kind, site=site, **facts)


def reader(*chosen, sites=frozenset({HERE}), is_administrator=False):
    return Reader(person=5, address="a@mail.example", is_administrator=is_administrator, sites=sites,
                  chosen=frozenset(chosen))  # fmt: skip


@pytest.mark.parametrize(
    ("who", "what", "expected"),
    [
        (reader((HOLD, HERE)), cause(), True),
        (reader((HOLD, None)), cause(), True),
        (reader((HOLD, None), sites=None), cause(site=THERE), True),
        (reader(), cause(), False),
        (reader((WITHDRAWAL, HERE)), cause(), False),
        (reader((HOLD, THERE)), cause(), False),
        (reader((HOLD, None)), cause(site=THERE), False),  # chosen, but not to be seen
        (reader((HOLD, None), sites=frozenset(), is_administrator=True), cause(), False),
        (reader((AUTHORISATION, None)), cause(AUTHORISATION, person=5), True),
        (reader((AUTHORISATION, None)), cause(AUTHORISATION, person=6), False),
        (reader((AUTHORISATION, None), is_administrator=True), cause(AUTHORISATION, person=6), True),
        (reader((AUTHORISATION, THERE), is_administrator=True), cause(AUTHORISATION, person=6), False),
        (reader((AUTHORISATION, HERE)), cause(AUTHORISATION, None, person=5), True),  # for every site, so for this one
        (reader((WITHDRAWAL, HERE)), cause(WITHDRAWAL, by_hold=True), True),
        (reader((WITHDRAWAL, HERE), (HOLD, HERE)), cause(WITHDRAWAL, by_hold=True), False),  # told of the hold
        (reader((WITHDRAWAL, HERE), (HOLD, THERE)), cause(WITHDRAWAL, by_hold=True), True),
        (reader((HOLD, HERE), (FINDING, HERE)), cause(by_finding=True), False),  # told of the finding
        (reader((HOLD, HERE), (FINDING, THERE)), cause(by_finding=True), True),
        (reader((HOLD, HERE), (FINDING, HERE)), cause(), True),
        (reader((FINDING, HERE)), cause(FINDING), True),
        (reader((WITHDRAWAL, HERE), (HOLD, HERE)), cause(WITHDRAWAL), True),
    ],
)
def test_somebody_is_told_what_they_chose_and_may_know(who, what, expected):
    assert wants(who, what) is expected


@pytest.mark.parametrize(
    ("tries", "minutes", "expected"),
    [(1, 4, False), (1, 5, True), (2, 9, False), (2, 10, True), (30, 24 * 60 - 1, False), (30, 24 * 60, True)],
)
def test_a_refused_one_is_tried_again_later_each_time(tries, minutes, expected):
    assert is_due(tries, SINCE, SINCE + timedelta(minutes=minutes)) is expected


def test_one_that_was_not_tried_is_due():
    assert is_due(0, None, SINCE)


def test_a_mail_says_what_where_since_when_and_what_to_do():
    held = cause()
    assert subject(held) == "Wrapledger: reel LW-0001 is held (Kettle Point)"
    assert text(held, "https://records.example/reels/LW-0001", "https://records.example/account/notices") == (
        "Reel LW-0001 is held.\n\n"
        "Reel:    LW-0001\nSite:    Kettle Point\nSince:   2 March 2026, 09:05 UTC\n\n"
        f"What to do: {TO_DO[HOLD]}\n\n"
        "https://records.example/reels/LW-0001\n\n"
        "You asked for this mail under “Notices”, beside your login, and can change it there.\n"
        "https://records.example/account/notices\n"
    )


def test_without_an_address_of_the_service_a_mail_has_no_link():
    assert "http" not in text(cause(), "", "")


@pytest.mark.parametrize("kind", NoticeKind)
def test_every_kind_has_its_words(kind):
    one = cause(kind, authorisation="of Tess Hollin to count, for w28,", machine="RM-7")
    assert subject(one).endswith("(Kettle Point)")
    assert TO_DO[kind] in text(one, "", "")


def test_in_a_mail_what_is_read_from_the_right_stays_to_itself():
    of_the_right = cause(site_name="\u05d3\u05e0\u05d4")
    assert subject(of_the_right).endswith("(\u2068\u05d3\u05e0\u05d4\u2069)")
    assert "Site:    \u2068\u05d3\u05e0\u05d4\u2069\n" in text(of_the_right, "", "")
    assert "\u2068" not in subject(cause()) + text(cause(), "", "")
