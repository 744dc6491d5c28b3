"""Setting up a new service: what it needs first, each with the page where it is done; and all reference data."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from reels import access
from reels.domain.type_rules import without_source
from reels.domain.words import counted
from reels.models import Person, ReelType
from reels.pages.acts import CAME_FROM, FIRST_PAGE, ActForm, ComparedView
from reels.pages.answers import page, reader, show
from reels.services import register
from reports.queries.set_up import MOST, SetUpState, is_put_away, set_up_state


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpLine:
    """One thing that a new service needs: how much of it is there, why it is needed, and where it is done.

    is_next: the first one that is not done.
    """

    title: str
    number: str
    is_done: bool
    why: str
    button: str
    address: str
    is_next: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ActOnRules:
    """The button of an act about the rules of a type, where it leads, and why it waits."""

    button: str
    address: str
    why: str


@page
def set_up(request: HttpRequest) -> HttpResponse:
    """The whole list, done or not and put away or not."""
    lines = set_up_lines(reader(request), timezone.now())
    shown = {"lines": lines, "is_put_away": is_put_away(), "done": sum(each.is_done for each in lines)}
    return show(request, "reports/set_up.html", {**shown, "section": "set-up"})


def lines_on_home(person: Person, at: datetime) -> list[SetUpLine]:
    """The list as it stands on an administrator's first page; empty where it is done, put away or not theirs."""
    if not access.administers(person) or is_put_away():
        return []
    lines = set_up_lines(person, at)
    return [] if all(each.is_done for each in lines) else lines


def set_up_lines(person: Person, at: datetime) -> list[SetUpLine]:
    """In an order in which each needs only what comes before it. Raises OnlyAdministrators."""
    state = set_up_state(person, at)
    lines = [_second(state), _sites(state), *_types(state, person), *_machines(state), *_people(state), *_reels(state)]
    first = next((each for each in lines if not each.is_done), None)
    return [replace(each, is_next=True) if each is first else each for each in lines]


def _line(title: str, number: str, is_done: bool, why: str, add: tuple[str, str],
          look: tuple[str, str]) -> SetUpLine:  # fmt: skip
    """add, look: the button and the name of its page, while it is to be done and afterwards."""
    button, page_name = look if is_done else add
    return SetUpLine(
        title=title, number=number, is_done=is_done, why=why, button=button,
        address=reverse(page_name) if is_done else _and_back(reverse(page_name)),
    )  # fmt: skip


def _and_back(address: str) -> str:
    """The form there leads back to the list."""
    return f"{address}?{CAME_FROM}={FIRST_PAGE}"


def _counted(number: int, thing: str, things: str = "") -> str:
    return f"{MOST} {things or thing + 's'} or more" if number == MOST else counted(number, thing, things)


def _second(state: SetUpState) -> SetUpLine:
    add = ("See people", "people") if state.has_second else ("Make the link for the second", "second-administrator")
    return _line(
        "Two administrators", _counted(state.administrators, "administrator"), state.administrators > 1,
        "It takes two to enrol people and to confirm rules.", add, ("People", "people"),
    )  # fmt: skip


def _sites(state: SetUpState) -> SetUpLine:
    return _line(
        "Sites", _counted(state.sites, "site"), state.sites > 0,
        "Reels, machines and people are at one; its clocks are those of its records.",
        ("Add a site", "site-add"), ("Sites", "sites"),
    )  # fmt: skip


def _types(state: SetUpState, person: Person) -> Iterator[SetUpLine]:
    yield _line(
        "Reel types", _counted(len(state.types), "type"), bool(state.types),
        "The drum and the cable that reels of one design share; the form draws the drum.",
        ("Add a reel type", "type-add"), ("Reel types", "reel-types"),
    )  # fmt: skip
    yield _line(
        "Publications", f"{state.publications} in force", state.publications > 0,
        "The approved documents that counts are worked by.",
        ("Add a publication", "publication-add"), ("Publications", "publications"),
    )  # fmt: skip
    yield _rules(state, person)


def _rules(state: SetUpState, person: Person) -> SetUpLine:
    """One administrator says where the rules of a type are written, and the other confirms them."""
    open_types = [each for each in state.types if each.rules_confirmed_at is None]
    why, button, address = "Nothing is signed or issued before.", "Reel types", reverse("reel-types")
    for each in open_types[:1] if state.publications else ():
        if act := act_on_rules(each, person):
            button, address = act.button, _and_back(act.address)
        else:
            why = f"The other administrator confirms those of {each.code}; you wrote them."
            button, address = "Look at the rules", reverse("reel-type", args=[each.code])
    confirmed = len(state.types) - len(open_types)
    return SetUpLine(
        title="Rules of the types", number=f"{confirmed} of {len(state.types)} confirmed",
        is_done=bool(state.types) and not open_types, why=why, button=button, address=address,
    )  # fmt: skip


def act_on_rules(row: ReelType, person: Person) -> ActOnRules | None:
    """What an administrator does next about the rules of a type that are not confirmed; None, where another does."""
    if without_source(row.rule_sources):
        address = reverse("rule-sources", args=[row.code])
        return ActOnRules(button="Name where they are written", address=address, why="Rules have no source yet.")
    if person.pk in row.rules_written_by:
        return None
    address = reverse("rule-confirmation", args=[row.code])
    return ActOnRules(button="Confirm the rules", address=address, why="Nothing is signed or issued before.")


def _machines(state: SetUpState) -> Iterator[SetUpLine]:
    yield _line(
        "Reeling machines", _counted(state.machines, "machine"), state.machines > 0,
        "Setup values are issued for one.", ("Add a machine", "machine-add"), ("Machines", "machines"),
    )  # fmt: skip
    yield _line(
        "Wrap gauges", _counted(state.gauges, "gauge"), state.gauges > 0,
        "Each belongs to a machine; wraps are counted with one.",
        ("Register a wrap gauge", "gauge-register") if state.machines else ("Wrap gauges", "gauges"),
        ("Wrap gauges", "gauges"),
    )  # fmt: skip


def _people(state: SetUpState) -> Iterator[SetUpLine]:
    yield _line(
        "People", f"{_counted(state.people, 'login')}, {state.ready} enrolled and posted", state.ready > 1,
        "One by one or as a list. The other administrator enrols them; a posting says where they may read.",
        ("Add people", "people-add") if state.people <= state.administrators else ("See people", "people"),
        ("People", "people"),
    )  # fmt: skip
    yield _line(
        "Authorisations", f"{len(state.counters)} may count, {len(state.verifiers)} may verify",
        bool(state.counters and state.verifiers) and len(state.counters | state.verifiers) > 1,
        "It takes two people to count a reel. Nobody authorises themselves.",
        ("Authorise people", "authorisations"), ("Authorisations", "authorisations"),
    )  # fmt: skip


def _reels(state: SetUpState) -> Iterator[SetUpLine]:
    yield _line(
        "Reels", counted(state.reels, "reel"), state.reels > 0,
        "One by one by whoever is authorised to maintain them, or all from a spreadsheet's file.",
        ("Register a reel", "reel-register") if state.may_register else ("Bring in a list", "sheet"),
        ("Reels", "reels"),
    )  # fmt: skip
    yield _line(
        "Older records", "some brought in" if state.has_older else "none brought in", state.has_older,
        "What was counted before, for the figures of drift. There are none? Then put this list away.",
        ("Bring in older records", "sheet"), ("Bring in more", "sheet"),
    )  # fmt: skip


class SetUpListView(ComparedView):
    """An administrator's act on the list itself."""

    template_name = "reels/form.html"
    form_class = ActForm
    is_away: ClassVar[bool]
    title: ClassVar[str]
    button: ClassVar[str]
    says: ClassVar[str]

    def find(self, **path: Any) -> None:
        access.only_administrators(self.person)

    def looked_at(self) -> Any:
        return is_put_away()

    def context(self) -> dict[str, Any]:
        return {"section": "set-up"}

    def do(self, data: dict[str, Any]) -> None:
        register.put_set_up_list_away(is_away=self.is_away, actor=self.actor, at=self.at)
        self.message = "The set-up list is put away." if self.is_away else "The set-up list is back."

    def done_at(self) -> str:
        return reverse("home")


class PutAwayView(SetUpListView):
    is_away = True
    title, button = "Put the set-up list away", "Put it away"
    says = "No administrator sees it on their first page from now on. It stays under Set-up, and can be taken back."


class TakeBackView(SetUpListView):
    is_away = False
    title, button = "Take the set-up list back", "Take it back"
    says = "Every administrator sees it on their first page again, until all of it is done or it is put away."
