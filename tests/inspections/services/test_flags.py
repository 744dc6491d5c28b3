from datetime import timedelta

import pytest

from inspections.domain.drift import Ending
from inspections.domain.words import Act
from inspections.errors import FlagAlreadyOpen, FlagClosed, NotAuthorised
from inspections.services import flags
from inspections.services.flags import FlaggedInterval
from reels.errors import NotFound, OnlyInPerson
from reels.models import HistoryEntry
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast

pytestmark = pytest.mark.django_db

INTERVAL = FlaggedInterval(
    from_at=NOW - timedelta(days=30), to_at=NOW, p_unlogged_cut=0.98, explanation="the counts make the cable shorter"
)


@pytest.fixture
def cast():
    builders.make_reel()
    return Cast.as_needed()


def assigned(cast, to=None, actor=None):
    return flags.assign_flag(
        serial="LW-0001", interval=INTERVAL, to=to or cast.technician, actor=Actor(actor or cast.control), at=NOW
    )


def test_a_flag_is_assigned_looked_into_and_closed_and_all_of_it_is_told(cast):
    flag = assigned(cast)
    flags.look_into_flag(flag_id=flag.pk, finding="no work order", actor=Actor(cast.technician), at=NOW)
    closed = flags.close_flag(
        flag_id=flag.pk, ending=Ending.CONFIRMED_LOSS, reason="cable short by 4 m", actor=Actor(cast.control), at=NOW
    )
    assert (closed.assigned_to, closed.looked_into_by, closed.closed_by) == (
        cast.technician, cast.technician, cast.control,
    )  # fmt: skip
    assert (closed.ending, closed.finding, str(closed.p_unlogged_cut)) == ("confirmed_loss", "no work order", "0.9800")
    acts = HistoryEntry.objects.filter(chain__name="reel:LW-0001").values_list("act", flat=True)
    assert list(acts.order_by("seq"))[1:] == ["flag_assigned", "flag_looked_into", "flag_closed"]


def test_an_interval_has_one_open_flag_which_may_pass_to_another_person(cast):
    flag = assigned(cast)
    with pytest.raises(FlagAlreadyOpen, match="assigned to Tess Hollin"):
        assigned(cast)
    assert flags.reassign_flag(
        flag_id=flag.pk, to=cast.verifier, actor=Actor(cast.control), at=NOW
    ).assigned_to == cast.verifier  # fmt: skip


def test_a_closed_flag_stays_as_it_is_and_the_interval_may_be_flagged_anew(cast):
    flag = assigned(cast)
    closing = {"flag_id": flag.pk, "ending": Ending.MISCOUNT, "reason": "recounted", "actor": Actor(cast.control)}
    flags.close_flag(**closing, at=NOW)
    with pytest.raises(FlagClosed, match="closed on 2026-03-02 as miscount"):
        flags.close_flag(**closing, at=NOW)
    assert assigned(cast).pk != flag.pk


def test_who_neither_maintains_the_reel_nor_looks_into_the_flag_changes_nothing(cast):
    flag = assigned(cast)
    with pytest.raises(NotAuthorised):
        assigned(cast, actor=cast.technician)
    with pytest.raises(NotAuthorised):
        flags.look_into_flag(flag_id=flag.pk, finding="nothing", actor=Actor(cast.verifier), at=NOW)
    with pytest.raises(NotAuthorised):
        flags.close_flag(flag_id=flag.pk, ending=Ending.MISCOUNT, reason="so", actor=Actor(cast.verifier), at=NOW)


def test_whoever_looks_into_a_flag_may_end_it(cast):
    flag = assigned(cast)
    ended = flags.close_flag(flag_id=flag.pk, ending=Ending.MISCOUNT, reason="so", actor=Actor(cast.technician), at=NOW)
    assert (ended.closed_by, ended.ending) == (cast.technician, "miscount")


def test_a_flag_is_closed_by_a_person_and_seen_only_where_they_are_posted(cast):
    flag = assigned(cast)
    closing = {"flag_id": flag.pk, "ending": Ending.MISCOUNT, "reason": "so", "at": NOW}
    with pytest.raises(OnlyInPerson):
        flags.close_flag(**closing, actor=Actor(cast.control, via="token rota"))
    elsewhere = builders.make_person("olga", Act.MAINTAIN, site=builders.make_site("aldermere", "Aldermere"))
    with pytest.raises(NotFound):
        flags.close_flag(**closing, actor=Actor(elsewhere))
    with pytest.raises(NotFound):
        assigned(cast, to=elsewhere)
