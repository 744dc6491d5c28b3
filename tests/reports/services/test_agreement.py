import pytest

from inspections.domain.words import Act
from inspections.models import Inspection
from inspections.services import authorisations
from reels.services import register
from reports.domain.agreement import Comparison, Grouping
from reports.services import agreement
from reports.services.agreement import AgreementScope, agreement_report
from tests import builders
from tests.builders import NOW, Cast, administrator
from tests.reports.first_readings import BEGIN, bring_in_many

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    cast = Cast.as_needed()
    for number in range(4):
        builders.make_reel(f"LW-{number:04}")
    bring_in_many(cast, 24)
    return cast


def pairs(person, **scope):
    return agreement_report(AgreementScope(**scope), person, NOW).agreement.pairs


def people(person, grouping=Grouping.TECHNICIAN):
    found = agreement_report(AgreementScope(comparison=Comparison.HAND), person, NOW).agreement
    return next(each for each in found.tables if each.grouping is grouping)


def test_filters_leave_what_they_name(cast):
    assert len(pairs(cast.colleague)) == 24
    assert {pair.source.gauge for pair in pairs(cast.colleague, gauge="WG-02")} == {"WG-02"}
    assert len(pairs(cast.colleague, site="kettle-point", type="w28")) == 24
    assert pairs(cast.colleague, type="other") == ()
    day = BEGIN.date()
    assert len(pairs(cast.colleague, until=day)) == 1
    assert len(pairs(cast.colleague, since=day)) == 24
    assert agreement.gauges_seen(cast.colleague, NOW) == ["WG-01", "WG-02", "WG-03", "WG-04"]


def test_a_stranger_sees_no_pair(cast):
    assert pairs(cast.stranger) == ()
    assert agreement.gauges_seen(cast.stranger, NOW) == []


def test_who_verifies_counts_there_sees_names_and_others_only_their_own(cast):
    assert [row.name for row in people(cast.verifier).rows] == ["Tess Hollin"]
    assert [row.name for row in people(cast.technician).rows] == ["Tess Hollin"]
    assert (people(cast.technician, Grouping.VERIFIER).rows, people(cast.technician, Grouping.VERIFIER).unnamed) == (
        (), 1,
    )  # fmt: skip
    assert (people(cast.control).rows, people(cast.control).unnamed) == ((), 1)


def test_who_verifies_at_another_site_only_is_not_told_names_here(cast):
    elsewhere = builders.make_person("otto", site=builders.make_site("aldermere", "Aldermere"))
    builders.authorise(elsewhere, Act.VERIFY, site=builders.make_site("aldermere"))
    register.post_person(person=elsewhere, site=builders.make_site(), valid_from=BEGIN, **builders.by_administrator())
    assert (people(elsewhere).rows, people(elsewhere).unnamed) == ((), 1)


def test_who_may_verify_everywhere_sees_names(cast):
    auditor = builders.make_person("odile")
    assert people(auditor).unnamed == 1
    authorisations.grant(person=auditor, act=Act.VERIFY, reel_type=None, site=None, valid_from=BEGIN,
                                  valid_until=None, **builders.by_administrator())  # fmt: skip
    assert [row.name for row in people(auditor).rows] == ["Tess Hollin"]


def test_an_administrator_who_is_posted_nowhere_sees_nothing(cast):
    assert people(administrator()).rows == ()


def test_as_many_queries_for_one_count_as_for_many_and_only_the_newest_are_looked_at(cast, count_queries, monkeypatch):
    def asked():
        agreement_report(AgreementScope(), cast.verifier, NOW)

    many = count_queries(asked)
    monkeypatch.setattr(agreement, "MOST_COUNTS", 1)
    assert count_queries(asked) == many == 8
    report = agreement_report(AgreementScope(), cast.verifier, NOW)
    assert (len(report.agreement.pairs), report.is_cut_off) == (1, True)
    assert report.agreement.pairs[0].source.inspection == Inspection.objects.latest("done_at").pk
