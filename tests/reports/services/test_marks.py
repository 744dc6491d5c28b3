"""Reports that are kept: one that somebody edited by SQL is made anew and not shown."""

from datetime import UTC, datetime

import pytest

from reels.errors import NotYet
from reels.models import Site
from reports.models import AsOfReport, KeptMonthlyReport
from reports.queries.monthly import PeriodScope
from reports.services import drift_report, monthly
from tests.reports.fleet import assessed_fleet
from tests.reports.tampering import edit, other
from tests.worker import work_off

pytestmark = pytest.mark.django_db

AS_OF = datetime(2024, 6, 30, tzinfo=UTC)
JUNE = {"begin": datetime(2024, 6, 1, tzinfo=UTC), "end": datetime(2024, 7, 1, tzinfo=UTC)}


def drift():
    return drift_report.kept_as_of(AS_OF, with_content=True)


def month():
    scope = PeriodScope(sites=list(Site.objects.values_list("pk", flat=True)), **JUNE)
    return monthly._figures(scope, "June", AS_OF)[0]


@pytest.fixture
def fleet(monkeypatch):
    assessed_fleet()
    monkeypatch.setattr(monthly, "MOST_REELS", 0)


KEPT = [
    (model, read, field.name)
    for model, read in ((AsOfReport, drift), (KeptMonthlyReport, month))
    for field in model._meta.concrete_fields if field.name != "id"
]  # fmt: skip


@pytest.mark.parametrize(("model", "read", "column"), KEPT)
def test_an_edited_one_is_made_anew(fleet, model, read, column):
    with pytest.raises(NotYet):
        read()
    work_off()
    read()
    row = model.objects.get()
    value = getattr(row, column)
    changed = value + 0.25 if isinstance(value, float) else other(model._meta.get_field(column), value)
    edit(row, column, changed)
    with pytest.raises(NotYet):
        read()
    work_off()
    read()
    assert getattr(model.objects.latest("made_at"), column) != changed
