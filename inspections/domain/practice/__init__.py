"""Practice: a reel drawn from a seed, what a person sees on it, how what they entered is marked, and who is ready.

draws      how hard a reel is, and choices from a seed   stand      what is found before the first reading
reels      the drum wound from a seed, and the right answer     figures    what is seen at the bench
slips      the rules and slips that a mark names                marking    a sheet compared with the reel
readiness  what a site asks for before an authorisation         words      the sentences
"""

from inspections.domain.practice.draws import Difficulty
from inspections.domain.practice.marking import FieldMark, Marking, PracticeSheet, mark
from inspections.domain.practice.readiness import PracticeResult, Readiness, ReadinessRule, assess_readiness, result_of
from inspections.domain.practice.reels import LARGEST_SEED, PracticeReel, Trap, halves_decide, practice_reel
from inspections.domain.practice.slips import WHY, PracticeSlip, Rule
from inspections.domain.practice.stand import PracticeStand, StandSheet, StandTrap

__all__ = [
    "LARGEST_SEED", "WHY", "Difficulty", "FieldMark", "Marking", "PracticeReel", "PracticeResult", "PracticeSheet",
    "PracticeSlip", "PracticeStand", "Readiness", "ReadinessRule", "Rule", "StandSheet", "StandTrap", "Trap",
    "assess_readiness", "halves_decide", "mark", "practice_reel", "result_of",
]  # fmt: skip
