"""The first half hour of a new organisation: from the link of `manage.py first_run` to the first signed count.

Four people, each on their own phone: two administrators, who then authorise a technician and a verifier. An act is a
link that somebody follows, or a form that somebody sends; to open a link that was handed over is one too. What is typed
or ticked in a form is none.
"""

from collections import Counter
from datetime import timedelta
from io import StringIO

from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from inspections.domain.words import InspectionState
from inspections.models import Authorisation, Inspection, SignOff
from reels.models import Person, ReelType
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import PHONE, key_everything, name_work_order, sign
from tests.builders import PASSWORD

MOST_ACTS = 60
ACTED = """() => {
  addEventListener("submit", () => window.acted(), true);
  addEventListener("click", (it) => { if (it.isTrusted && it.target.closest("a[href]")) window.acted(); }, true);
}"""
ACTS = Counter[str]


class Phone:
    """A page on somebody's own phone, on which every act of theirs is counted."""

    def __init__(self, browser, name: str, acts: ACTS) -> None:
        self.page: Page = browser.new_context(viewport=PHONE).new_page()
        self.page.set_default_timeout(20_000)
        self._name, self._acts = name, acts
        self.page.expose_function("acted", self._acted)
        self.page.add_init_script(f"({ACTED})()")

    def _acted(self) -> None:
        self._acts[self._name] += 1

    def open(self, link: str) -> None:
        self._acted()
        self.page.goto(link)

    def follow(self, words: str) -> None:
        self.page.get_by_role("main").get_by_role("link", name=words).first.click()

    def send(self, button: str, **typed: str | list[str]) -> None:
        """Fill fields of the page's form by their names, and send it."""
        for name, value in typed.items():
            fields = self.page.locator(f"main [name={name}]")
            if isinstance(value, list):
                for each in value:
                    self.tick(self.page.locator(f'main [name={name}][value="{each}"]'))
            elif fields.first.evaluate("each => each.tagName") == "SELECT":
                fields.select_option(value)
            else:
                fields.fill(value)
        self.page.get_by_role("button", name=button).click()

    def tick(self, box: Locator) -> None:
        """On a phone it may be behind the name of its row."""
        if not box.is_visible():
            box.locator("xpath=ancestor::tr").locator("summary").click()
        box.check()

    def is_told(self, words: str) -> None:
        expect(self.page.get_by_role("status").first).to_contain_text(words)

    def choose_password(self, link: str) -> None:
        self.open(link)
        self.send("Set my password", new_password=PASSWORD, again=PASSWORD)
        expect(self.page.get_by_role("heading", name="Waiting for you")).to_be_visible()


def printed_link(address: str) -> str:
    printed = StringIO()
    call_command("first_run", address=address, stdout=printed, stderr=StringIO())
    return printed.getvalue().strip()


def administrator(phone: Phone, link: str, name: str, number: str) -> None:
    phone.open(link)
    who = {"full_name": name, "staff_number": number, "username": name.partition(" ")[0].lower()}
    phone.send("Make my login", new_password=PASSWORD, again=PASSWORD, **who)


def day(days: int) -> str:
    return (timezone.now() + timedelta(days=days)).date().isoformat()


def set_up(first: Phone) -> None:
    """All that one administrator puts in, each from the button of the list on their first page."""
    first.follow("Add a site")
    first.send("Add it", code="kettle-point", name="Kettle Point", time_zone="Europe/London")
    first.is_told("Added: site Kettle Point.")
    first.follow("Add a reel type")
    first.send(
        "Add it", code="w28", core_diameter_mm="300", cable_diameter_mm="10", wraps_odd_layer="28",
        wraps_even_layer="27", max_layers="20", anchor_side="left",
    )  # fmt: skip
    first.follow("Add a publication")
    first.send("Add it", code="LWS 12-3", title="Counting a reel", revision="C", valid_from=f"{day(-1)}T08:00")
    first.follow("Name where they are written")
    rules = ("lead", "arc", "reference_side", "scale_line", "winding_sense", "unusual")
    first.send("Name these paragraphs", **dict.fromkeys(rules, "para. 4.2"))  # of the publication that is in force
    first.follow("Add a machine")
    first.send("Add it", serial="RM-7", host="Heron 3", site="kettle-point", types=["w28"])
    first.follow("Register a wrap gauge")
    first.send(
        "Register it", serial="WG-RM-7", machine="RM-7", types=["w28"], calibrated_on=day(-30), due=day(300)
    )  # fmt: skip


def add_two_people(first: Phone) -> list[str]:
    """The links that they are given."""
    first.follow("Add people")
    first.send("Add them", people="Tess Hollin; S-7; tess\nVic Orme; S-8; vic", site="kettle-point")
    links = first.page.locator("code.secret").all_inner_texts()
    first.follow("I have copied them")
    return links


def enrol(second: Phone) -> None:
    for words in ("Enrol: Tess Hollin", "Enrol Vic Orme"):  # the other is on the page that follows
        second.follow(words)
        second.send("Enrol", checked="I know them, and saw their pass.")


def register_a_reel(tess: Phone) -> None:
    tess.follow("All reels")
    tess.follow("Register a reel")
    tess.send("Register it", serial="LW-0001", reel_type="w28", site="kettle-point", received_on=day(-20))


def count(tess: Phone, vic: Phone) -> None:
    tess.follow("Begin a count")
    tess.page.get_by_label("I have read the cautions").check()
    name_work_order(tess.page)
    for label in ("turned as installed", "are found", "are all sound"):
        tess.page.get_by_label(label).check()
    tess.send("Begin the count")
    tess.page.wait_for_url("**/worksheet")
    vic.page.reload()
    vic.follow("Witness this point now")
    key_everything(tess.page, vic.page)
    for phone, word in ((tess, "counted"), (vic, "verified")):
        phone.page.wait_for_url("**/result")
        sign(phone.page, word)


def stored():
    return {
        "counts": list(Inspection.objects.values_list("state", flat=True)),
        "signed": list(SignOff.objects.order_by("pk").values_list("meaning", "person__username")),
        "confirmed by": [
            each.rules_confirmed_by and each.rules_confirmed_by.username for each in ReelType.objects.all()
        ],
        "authorised": set(Authorisation.objects.values_list("person__username", "act")),
        "enrolled by": dict(Person.objects.values_list("username", "enrolled_by__username")),
    }


def test_a_newcomer_has_the_first_signed_count_after_sixty_acts_at_most(browser, live_server):
    acts = ACTS()
    link = in_a_thread(lambda: printed_link(live_server.url))
    first, second, tess, vic = (Phone(browser, name, acts) for name in ("ines", "otto", "tess", "vic"))
    administrator(first, link, "Ines Corr", "L-1")
    handed_over = first.page.get_by_label("Link for the second administrator").input_value()
    first.follow("Go on")
    administrator(second, handed_over, "Otto Lind", "L-2")
    set_up(first)
    links = add_two_people(first)
    first.follow("Authorise people")
    first.send("Authorise as ticked", granted=["tess count", "tess maintain", "vic verify"])
    second.page.goto(live_server.url)
    second.follow("Confirm the rules, for Rules of the types")
    second.send("I have compared each rule with its paragraph: confirm")
    enrol(second)
    for phone, own in zip((tess, vic), links, strict=True):
        phone.choose_password(own)
    register_a_reel(tess)
    count(tess, vic)
    assert in_a_thread(stored) == {
        "counts": [InspectionState.SIGNED],
        "signed": [("counted", "tess"), ("verified", "vic")],
        "confirmed by": ["otto"],
        "authorised": {("tess", "count"), ("tess", "maintain"), ("vic", "verify")},
        "enrolled by": {"ines": None, "otto": None, "tess": "otto", "vic": "otto"},
    }
    assert min(acts.values()) > 0
    assert acts.total() <= MOST_ACTS, acts
    for phone in (first, second, tess, vic):
        phone.page.context.close()
