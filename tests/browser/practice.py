"""Practice with which its pages are looked at: a trainee under way, one with results, an instructor."""

from dataclasses import dataclass
from datetime import timedelta

from django.utils import timezone
from playwright.sync_api import Page

from inspections.domain.practice import Difficulty, PracticeReel, ReadinessRule
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


def draw(page: Page, seed: int) -> None:
    """A plain reel, from the page where practice begins."""
    page.get_by_text("plain: nothing").click()
    page.get_by_label("Seed").fill(str(seed))
    page.get_by_role("button", name="Draw the reel").click()


def count(page: Page, reel: PracticeReel) -> None:
    """Everything there is to see of the reel, entered right; what is to be set comes next."""
    seen = reel.reading
    page.get_by_label("Serial of the reel").fill(reel.stand.plate)
    page.get_by_label("Serial of the wrap gauge").fill(reel.stand.gauge)
    page.get_by_label("are all sound").check()
    page.get_by_role("button", name="Enter this step").click()
    page.get_by_role("group", name="Open side").get_by_label(str(seen.open_side), exact=True).check()
    page.get_by_role("button", name="Enter this step").click()
    page.get_by_label("Left scale", exact=True).fill(str(seen.scale_left))
    page.get_by_label("Right scale", exact=True).fill(str(seen.scale_right))
    page.get_by_label(str(seen.unwind).replace("_", " ")).check()
    page.get_by_role("button", name="Enter this step").click()
    page.get_by_label("Wraps counted by hand").fill(str(seen.hand_wraps))
    page.get_by_role("button", name="Enter this step").click()
    page.get_by_label(str(seen.gauge_face), exact=True).check()
    page.get_by_label("Wraps read on the gauge").fill(str(seen.gauge_wraps))
    page.get_by_role("button", name="Enter this step").click()
    page.get_by_role("radio", name=f"{seen.crossover_half} half").check()
    page.get_by_role("button", name="Enter this step").click()
