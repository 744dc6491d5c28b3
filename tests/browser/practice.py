"""Practice with which its pages are looked at: a trainee under way, one with results, an instructor."""

from dataclasses import dataclass
from datetime import timedelta

from django.utils import timezone

from inspections.domain.practice import Difficulty, ReadinessRule
from inspections.domain.words import Act
from inspections.models import Exercise
from inspections.services import authorisations
from reels.models import Person
from reels.services.history import Actor
from tests.builders import NOW, Cast, administrator, make_site
from tests.practised import drawn, practised


@dataclass(frozen=True, slots=True, kw_only=True)
class Practised:
    cast: Cast
    trainee: Person
    right: Exercise
    missed: Exercise


def make_practised() -> Practised:
    cast, now = Cast(), timezone.now()  # the server that is looked at has the real clock
    authorisations.ask_readiness(
        site=make_site(), act=Act.COUNT, rule=ReadinessRule(in_a_row=5), actor=Actor(administrator()), at=NOW
    )
    trainee = cast.colleague
    missed = practised(trainee, at=now - timedelta(hours=9), off=1)
    right, *_ = [practised(trainee, at=now - timedelta(hours=8 - n)) for n in range(4)]
    practised(cast.technician, at=now - timedelta(hours=2), off=4, difficulty=Difficulty.TREACHEROUS)
    return Practised(cast=cast, trainee=trainee, right=right, missed=missed)


def under_way(person: Person, difficulty: Difficulty, seed: int) -> Exercise:
    return drawn(person, difficulty=difficulty, seed=seed)
