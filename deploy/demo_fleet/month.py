"""The month before the demo is loaded, as a diary of acts for `load_demo`: what the survey's people did, day by day.

The reels go on from where the play of `make` left them: same true lengths, same looseness. A count is told by its
result; the loader works out what was seen on the drum. Nothing is dated: every act is so many days before the load.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from deploy.demo_fleet.chance import Chance
from reels.domain.winding import count_of_turns, layer_capacities, turns_of_length

if TYPE_CHECKING:
    from deploy.demo_fleet.make import PlayedReel

SEED = 20_261_101
TECHNICIANS = {"kettle-point": ("maren", "tobin"), "aldermere": ("ines",), "stane-field": ("sunniva",)}
VERIFIERS = {"kettle-point": ("bram",), "aldermere": ("hanne", "odile"), "stane-field": ("leif",)}
# RM-01 and RM-03 are left to the walk and the tour; the gauge of RM-12 is past due.
MACHINES = {
    "kettle-point": ("RM-02", "RM-04"), "aldermere": ("RM-05", "RM-06", "RM-07"),
    "stane-field": ("RM-09", "RM-10", "RM-11"),
}  # fmt: skip
# To the walk and the tour; on their way; held by a safety notice.
LEFT_ALONE = {1, 2, 4, 5, 36, 37, 30, 33, 39}
DAY_OF_A_COUNT = {1: (18.0, 27.0), 2: (2.0, 11.0)}
SHARE_OF_DIFFERENCES = 0.15
SHARE_OF_CUTS = 0.25
# What becomes of the drift report with which the month begins: flags on the likeliest interval of each of these reels.
FLAGS: list[dict[str, Any]] = [
    {"days_ago": 21.3, "reel": "LW-0036", "act": "assign_flag", "by": "isolde", "to": "nils"},
    {"days_ago": 21.2, "reel": "LW-0027", "act": "assign_flag", "by": "isolde", "to": "nils"},
    {
        "days_ago": 17.4,
        "reel": "LW-0036",
        "act": "look_into_flag",
        "by": "nils",
        "words": "The bench diary of 10 August 2025 has 8 m cut off this reel. Nobody entered it.",
    },
    {
        "days_ago": 16.3,
        "reel": "LW-0036",
        "act": "cut",
        "by": "isolde",
        "metres": 8.0,
        "happened_at": "2025-08-10T11:30:00Z",
    },
    {
        "days_ago": 16.2,
        "reel": "LW-0036",
        "act": "close_flag",
        "by": "nils",
        "ending": "late_logged_cut",
        "words": "Logged from the bench diary, with the day on which it was cut.",
    },
    {
        "days_ago": 14.2,
        "reel": "LW-0027",
        "act": "close_flag",
        "by": "nils",
        "ending": "unexplained",
        "words": "No diary and no scrap list knows of a cut, and so little is hard to tell from looseness.",
    },
    {"days_ago": 8.3, "reel": "LW-0003", "act": "assign_flag", "by": "isolde", "to": "odile"},
    {"days_ago": 8.2, "reel": "LW-0035", "act": "assign_flag", "by": "isolde", "to": "nils"},
    {
        "days_ago": 5.4,
        "reel": "LW-0035",
        "act": "look_into_flag",
        "by": "nils",
        "words": "The scrap list of Stane Field has some 18 m early in August, without a serial. Asked who wrote it.",
    },
    {"days_ago": 2.1, "reel": "LW-0034", "act": "assign_flag", "by": "isolde", "to": "nils"},
]
# What is not done yet when the demo begins, so that something waits for everybody.
TODAY: list[dict[str, Any]] = [
    {"days_ago": 1.2, "reel": "LW-0014", "act": "retire", "by": "isolde", "reason": "The drum is worn out."},
    {"days_ago": 1.1, "reel": "LW-0021", "act": "issue", "by": "isolde", "machine": "RM-08"},
    {"days_ago": 0.3, "reel": "LW-0040", "act": "issue", "by": "isolde", "machine": "RM-12"},
    {"days_ago": 0.25, "reel": "LW-0040", "act": "install", "by": "isolde", "machine": "RM-12"},
    {"days_ago": 0.22, "reel": "LW-0019", "act": "cut", "by": "isolde", "metres": 1.5},
    {
        "days_ago": 0.2,
        "reel": "LW-0031",
        "act": "find",
        "by": "sunniva",
        "part": "cable",
        "kind": "crushed",
        "words": "Two turns lie flattened beside the right flange.",
    },
    {"days_ago": 0.16, "reel": "LW-0022", "act": "recount", "by": "ines", "verifier": "hanne", "until": "counted"},
    {
        "days_ago": 0.12,
        "reel": "LW-0029",
        "act": "recount",
        "by": "sunniva",
        "verifier": "leif",
        "until": "help",
        "words": "The right scale has lost its marks between 8 and 10.",
    },
    {"days_ago": 0.04, "reel": "LW-0006", "act": "recount", "by": "tobin", "verifier": "bram", "until": "hand_count"},
]


def diary(reels: list["PlayedReel"]) -> list[dict[str, Any]]:
    """The acts in order, each with `days_ago`, `act` and what that act needs."""
    chance = Chance(SEED)
    acts: list[dict[str, Any]] = []
    for site in MACHINES:
        lively = [reel for reel in reels if reel.site == site and int(reel.serial[3:]) not in LEFT_ALONE]
        for place, reel in enumerate(lively):
            acts += _month_of(chance, reel, place)
    return sorted(acts + FLAGS + TODAY, key=lambda act: (-act["days_ago"], act["reel"]))


def _month_of(chance: Chance, reel: "PlayedReel", place: int) -> Iterator[dict[str, Any]]:
    """Two counts and what lies between; the first reels of a site go to sea, the others lie in the store."""
    machines, length = MACHINES[reel.site], reel.length_now_m
    first, second = (round(chance.between(*DAY_OF_A_COUNT[number]), 3) for number in (1, 2))
    yield _count(chance, reel, length, first)
    if place < len(machines):  # at sea for a week, then counted again
        yield from _at_sea(chance, reel, machines[place], first - 0.2, last=12.0)
    if len(machines) <= place < 2 * len(machines):  # counted for the machine that came free, and at sea since
        yield _count(chance, reel, length, 11.0 + second / 12)
        yield from _at_sea(chance, reel, machines[place - len(machines)], 10.5)
        return
    if chance.happens(SHARE_OF_CUTS):
        metres = round(chance.between(1.5, 6.0), 1)
        length -= metres
        yield _act(reel, second + 1, "cut", by="isolde", metres=metres)
    yield _count(chance, reel, length, second)


def _at_sea(
    chance: Chance, reel: "PlayedReel", machine: str, since: float, last: float | None = None
) -> Iterator[dict[str, Any]]:
    yield _act(reel, since, "issue", by="isolde", machine=machine)
    yield _act(reel, since - 0.1, "install", by="isolde", machine=machine)
    yield _act(reel, since - 0.12, "set", by="jory")
    yield _act(reel, since - 0.14, "confirm", by="tamsin")
    for day in range(int(since) - 1, int(last or 0), -2):
        yield _act(reel, day + 0.3, "use", by="isolde", hours=round(chance.between(1, 6), 1))
    if last is not None:
        yield _act(reel, last, "remove", by="isolde")


def _count(chance: Chance, reel: "PlayedReel", length_m: float, days_ago: float) -> dict[str, Any]:
    turns = float(turns_of_length(length_m, reel.drum))
    whole = int(turns + chance.near(reel.looseness_wraps * turns / 300) + 0.5)
    layers, wraps = _as_usual(reel, whole)
    seen_otherwise = chance.one_of((-1, 1)) if chance.happens(SHARE_OF_DIFFERENCES) else 0
    return _act(
        reel, days_ago, "count", by=chance.one_of(TECHNICIANS[reel.site]), verifier=chance.one_of(VERIFIERS[reel.site]),
        gauge=chance.one_of(MACHINES[reel.site]).replace("RM", "WG"), layers=layers, wraps=wraps,
        off_at_first=seen_otherwise, work_order=f"{reel.site[0].upper()}-{chance.whole(71000, 79999)}",
    )  # fmt: skip


def _as_usual(reel: "PlayedReel", whole_turns: int) -> tuple[int, int]:
    """Layers and wraps of so many turns; with the lead a wrap or two into the next layer, that many fewer.

    The loader makes counts that come out as usual; one that steps down is in the walk.
    """
    layers, wraps = (int(part) for part in count_of_turns(whole_turns, reel.drum))
    return layers, min(wraps, int(layer_capacities(reel.drum)[layers]) - reel.lead_wraps - 1)


def _act(reel: "PlayedReel", days_ago: float, act: str, **facts: Any) -> dict[str, Any]:
    return {"days_ago": round(days_ago, 3), "reel": reel.serial, "act": act, **facts}
