"""Following the list of recounts settles more than counting by date or by chance."""

from tests.benchmarks.drift.planner import WAYS, play, table


def test_a_fifth_of_the_reels_by_the_list_settles_most_of_what_all_would() -> None:
    fleets = [play(number, 0.2) for number in range(3)]
    nats = {way: sum(each.nats[way] for each in fleets) for way in WAYS}
    metres = {way: sum(each.metres[way] for each in fleets) for way in WAYS}
    assert nats["by the list"] > 0.5 * sum(each.all_nats for each in fleets) > 0
    assert nats["by the list"] > max(nats["by date"], nats["by chance"])
    assert metres["by the list"] > max(metres["by date"], metres["by chance"])
    assert len(table(fleets)) == 1 + len(WAYS) + 1
