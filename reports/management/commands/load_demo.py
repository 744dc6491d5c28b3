"""`manage.py load_demo`: Larkspur Water Survey and its forty reels, all invented, into an empty demo database."""

import json
from argparse import ArgumentParser
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inspections.domain.act_fields import SafetyNoticeFields
from inspections.domain.findings import ReelPart, Severity
from inspections.domain.practice import Difficulty, ReadinessRule
from inspections.domain.reading import KeyedReading
from inspections.domain.words import Act, Point
from inspections.models import Exercise
from inspections.queries.practice import reel_of
from inspections.services import authorisations, findings, moves, practice, safety_notices
from inspections.services.intake import FILES, import_records
from inspections.services.status_rows import kept_once
from reels import access
from reels.domain.type_rules import TypeRule
from reels.models import Person, Site
from reels.services import people, register
from reels.services.history import Actor
from reports.management import demo_month
from reports.services import archive, assessments

VIA = "command load_demo"


class Command(BaseCommand):
    help = "Loads the invented demo fleet. Only in the demo, only into an empty database; does nothing a second time."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--without-month",
            action="store_true",
            help="leave out the last month with its sixty counts, their acts and the drift of the fleet",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.WRAPLEDGER_ENV != "demo":
            raise CommandError(
                f"WRAPLEDGER_ENV is {settings.WRAPLEDGER_ENV}: the demo's people have well-known passwords. "
                "They are loaded only where WRAPLEDGER_ENV=demo."
            )
        folder = Path(settings.HOME) / "deploy" / "demo_fleet"
        organisation = json.loads((folder / "organisation.json").read_text(encoding="utf-8"))
        if Person.objects.filter(username=organisation["administrator"]["username"]).exists():
            self.stdout.write("The demo fleet is loaded already.")
        elif Person.objects.exists() or Site.objects.exists():
            raise CommandError("This database holds other records. The demo fleet is loaded only into an empty one.")
        else:
            self.load(organisation, folder, acts=[] if options["without_month"] else month_acts(folder))
        settings.DEMO_FOLDER.mkdir(exist_ok=True)
        (settings.DEMO_FOLDER / "people.txt").write_text(logins_text(organisation), encoding="utf-8")

    def load(self, organisation: dict[str, Any], folder: Path, acts: list[dict[str, Any]]) -> None:
        """All of it or nothing. The worker draws the documents, and without a month works out drift."""
        with archive.left_to_worker(), kept_once():
            administrator = self.load_all(organisation, folder, acts)
        if acts:
            assessments.bring_up_to_date(at=timezone.now())
            archive.have_archived(administrator)
        else:
            assessments.have_assessed()  # so that it is there when somebody looks

    def load_all(self, organisation: dict[str, Any], folder: Path, acts: list[dict[str, Any]]) -> Person:
        now = timezone.now()
        at = now - timedelta(days=demo_month.DAYS) if acts else now
        administrator = people.add_administrator(
            **organisation["administrator"], password=organisation["password"], at=at, via=VIA
        )
        actor = Actor(administrator, via=VIA)
        add_organisation(organisation, actor, at)
        summary = import_records(
            files={name: opener(folder / name) for name in FILES if (folder / name).exists()}, actor=actor, at=at
        )
        stored = ", ".join(f"{number} {name[:-4].replace('_', ' ')}" for name, number in summary.stored.items())
        confirm_rules(organisation, actor, at)
        add_machines(organisation, actor, at, today=now.date())
        add_finding_kinds(organisation, actor, at)
        add_safety_notices(organisation, at)
        demo_month.Month(now, organisation["password"], organisation["publications"][-1], acts).play()
        add_moves(organisation, now)
        add_practice(organisation, actor=actor, at=now)
        self.stdout.write(f"Loaded Larkspur Water Survey (all made up): {stored}.")
        if acts:
            self.stdout.write(f"Played its last month: {sum('count' in act['act'] for act in acts)} counts.")
        return administrator


def opener(path: Path) -> Callable[[], BinaryIO]:
    return lambda: path.open("rb")


def add_organisation(organisation: dict[str, Any], actor: Actor, at: datetime) -> None:
    """Sites, publications, and people with their postings and authorisations, through the services.

    The one password that all of them have, which every page of the tour tells, is hashed once: so they share its salt.
    """
    by: dict[str, Any] = {"actor": actor, "at": at}
    begins = datetime.fromisoformat(organisation["authorised_from"])
    sites = {row["code"]: register.add_site(**row, **by) for row in organisation["sites"]}
    for row in organisation["publications"]:
        register.add_publication(**{**row, "valid_from": datetime.fromisoformat(row["valid_from"])}, **by)
    for place, row in enumerate(organisation["people"], start=2):
        site = sites[row["site"]] if row["site"] else None
        person = people.add_person(
            username=row["username"], full_name=row["full_name"], staff_number=f"LWS-{place:03}",
            password=organisation["password"], is_settled=True, like=actor.person, **by,
        )  # fmt: skip
        register.post_person(person=person, site=site, valid_from=begins, **by)
        for act in row["acts"]:
            authorisations.grant(person=person, act=Act(act), reel_type=None, site=site, valid_from=begins,
                                 valid_until=None, **by)  # fmt: skip


def confirm_rules(organisation: dict[str, Any], actor: Actor, at: datetime) -> None:
    """The rules of each type: the administrator names the paragraphs, the second one confirms them."""
    second = people.add_administrator(
        **organisation["second_administrator"], password=organisation["password"], at=at, via=VIA
    )
    rules = organisation["rules"]
    paragraphs = {TypeRule(rule): paragraph for rule, paragraph in rules["paragraphs"].items()}
    for reel_type in access.reel_types():
        register.source_rules(
            reel_type, publication=rules["publication"], revision=rules["revision"], paragraphs=paragraphs,
            actor=actor, at=at,
        )  # fmt: skip
        register.confirm_rules(reel_type, actor=Actor(second, via=VIA), at=at)


def month_acts(folder: Path) -> list[dict[str, Any]]:
    """The diary of the last month."""
    acts: list[dict[str, Any]] = json.loads((folder / "month.json").read_text(encoding="utf-8"))
    return acts


def add_machines(organisation: dict[str, Any], actor: Actor, at: datetime, today: date) -> None:
    """The machines with the types that they take, and the wrap gauges, whose calibrations are so many days from today.

    One calibration is past due.
    """
    for row in organisation["machines"]:
        register.add_machine(**{**row, "site": access.site(row["site"])}, actor=actor, at=at)
    for row in organisation["gauges"]:
        register.register_gauge(
            serial=row["serial"], machine=access.machine(row["machine"]),
            types=[access.reel_type(code) for code in row["types"]],
            calibrated_on=today - timedelta(days=row["calibrated_days_ago"]),
            due=today + timedelta(days=row["due_in_days"]), actor=actor, at=at,
        )  # fmt: skip


def add_moves(organisation: dict[str, Any], at: datetime) -> None:
    """Reels on their way between the bases, sent so many days before `at`; the first is late."""
    for row in organisation["moves"]:
        moves.send(
            serial=row["reel"], site_code=row["to"], document=row["document"],
            happened_at=at - timedelta(days=row["days_ago"]), actor=Actor(access.person_named(row["by"]), via=VIA),
            at=at,
        )  # fmt: skip


def add_safety_notices(organisation: dict[str, Any], at: datetime) -> None:
    """Each with its reels held, as the worker would, so that a demo does not depend on when that comes to it."""
    for row in organisation["safety_notices"]:
        actor = Actor(access.person_named(row["by"]), via="session")
        facts = SafetyNoticeFields(**row["facts"], answers=("holds_reels",))
        notice = safety_notices.issue(facts=facts, actor=actor, at=at)
        for chain in safety_notices.chains_to_hold(notice, at):
            safety_notices.hold_covered_reel(notice, chain, actor)


def add_finding_kinds(organisation: dict[str, Any], actor: Actor, at: datetime) -> None:
    """What the reels of every type are looked over for: the same short list."""
    for reel_type in access.reel_types():
        for row in organisation["finding_kinds"]:
            findings.add_kind(
                reel_type=reel_type, part=ReelPart(row["part"]), code=row["code"], words=row["words"],
                least_severity=Severity(row["least_severity"]), actor=actor, at=at,
            )  # fmt: skip


def logins_text(organisation: dict[str, Any]) -> str:
    """As whom to log in, for whoever started the demo."""
    sites = {site["code"]: site["name"] for site in organisation["sites"]}
    administrators = (organisation["administrator"], organisation["second_administrator"])
    rows = [
        *((each["username"], each["full_name"], each["part"], sites.get(each["site"], "every base"))
          for each in organisation["people"]),
        *((each["username"], each["full_name"], "administrator", "reference data") for each in administrators),
    ]  # fmt: skip
    lines = (f"  {username:9}{name:25}{part:30}{where}\n" for username, name, part, where in rows)
    password = organisation["password"]
    return f"Log in as any of these (all made up); the password is {password} for each:\n" + "".join(lines)


# Practice: a trainee on the way, and a site that asks for it. The reels are drawn anew each time --------------------


def add_practice(organisation: dict[str, Any], actor: Actor, at: datetime) -> None:
    """The readiness rule, and each reel that somebody has practised on, so many days before `at`."""
    readiness = organisation["readiness"]
    rule = ReadinessRule(
        in_a_row=readiness["in_a_row"], within_days=readiness["within_days"], least=Difficulty(readiness["least"])
    )
    site = access.site(readiness["site"])
    authorisations.ask_readiness(site=site, act=Act(readiness["act"]), rule=rule, actor=actor, at=at)
    for row in organisation["practice"]:
        _enter_reel(row, at - timedelta(days=row["days_ago"]))


def _enter_reel(row: dict[str, Any], at: datetime) -> None:
    """All of a reel entered as a careful person does, but for a hand count that is off by so many wraps."""
    actor = Actor(access.person_named(row["person"]))
    exercise = practice.begin_exercise(
        reel_type=access.reel_type(row["reel_type"]), difficulty=Difficulty(row["difficulty"]), seed=None,
        actor=actor, at=at,
    )  # fmt: skip
    by: dict[str, Any] = {"exercise_id": exercise.pk, "actor": actor, "at": at}
    values = careful(exercise)
    values[Point.HAND_COUNT]["hand_wraps"] = max(0, values[Point.HAND_COUNT]["hand_wraps"] + row["off"])
    reel = reel_of(exercise)
    practice.enter_stand(
        serial=reel.stand.plate, gauge_serial=reel.stand.gauge, unsound=reel.stand.unsound, **by
    )  # fmt: skip
    for step in range(practice.STAND_STEP + 1, practice.RESULT_STEP):
        practice.enter_step(step=step, by_point={point: values[point] for point in practice.points_at(step)}, **by)
    practice.enter_result(
        refers=reel.has_to_refer, layers=reel.answer.layers, wraps=reel.answer.wraps, **by
    )  # fmt: skip


def careful(exercise: Exercise) -> dict[Point, dict[str, Any]]:
    """What a careful person enters at each point, where the half of a crossover decides."""
    reading: KeyedReading = reel_of(exercise).reading
    half = reading.crossover_half
    return {
        Point.SCALE_LEFT: {"scale_left": reading.scale_left},
        Point.SCALE_RIGHT: {"scale_right": reading.scale_right},
        Point.OPEN_SIDE: {"open_side": reading.open_side},
        Point.UNWIND: {"unwind": reading.unwind},
        Point.HAND_COUNT: {"hand_wraps": reading.hand_wraps},
        Point.GAUGE: {"gauge_face": reading.gauge_face, "gauge_wraps": reading.gauge_wraps},
        Point.CROSSOVER: {"crossover_half": half} if half else {"crossover_deg": reading.crossover_deg},
    }
