"""Each person's whole job in a real browser: from the login, over what waits for them, to where nothing of it waits."""

import re

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from inspections.models import SetupValues, SignOff
from inspections.queries.practice import reel_of
from tests import builders
from tests.browser.desk import make_desk_fleet
from tests.browser.practice import count, draw, make_practised
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import (
    at_step,
    key_everything,
    make_cast,
    phone,
    prepare,
    sign,
    write,
)
from tests.builders import PASSWORD


class Somebody:
    """A person with a phone of their own, logged in through the login page."""

    def __init__(self, browser: Browser, live_server, person) -> None:
        self.person, self.url = person, live_server.url
        self.page: Page = phone(browser).new_page()
        self.page.set_default_timeout(15_000)
        self.page.goto(self.url)
        write(self.page.get_by_label("User name"), person.username)
        write(self.page.get_by_label("Password"), PASSWORD)
        self.page.keyboard.press("Enter")
        expect(self.page.get_by_role("heading", level=1)).to_have_text("Waiting for you")

    def waits(self, words: str) -> Locator:
        """What waits at home with these words on its button, or after it."""
        if self.page.url.removesuffix("/") != self.url:
            self.page.get_by_role("link", name="Wrapledger", exact=True).click()
        expect(self.page.get_by_role("heading", level=1)).to_have_text("Waiting for you")
        return self.page.locator(".waiting").get_by_role("link", name=re.compile(words))

    def take_up(self, words: str) -> Page:
        self.waits(words).first.click()
        return self.page

    def submit(self, **typed: str) -> None:
        """The one form of the page, with these fields, by their labels with underscores."""
        form = self.page.locator("main form[method=post]").last
        for label, value in typed.items():
            field = form.get_by_label(re.compile(label.replace("_", " "))).first
            if field.evaluate("each => each.tagName") == "SELECT":
                field.select_option(value)
            elif field.get_attribute("type") == "datetime-local":
                field.fill(value)
            else:
                write(field, value)
        with self.page.expect_navigation():  # the form's page may have a status, too
            form.get_by_role("button").last.click()
        expect(self.page.get_by_role("status").first).to_be_visible()

    def choose(self, label: str, word: str) -> None:
        """One of the words of a field, which are buttons or a list."""
        named = re.compile(label)
        buttons, words = self.page.get_by_role("group", name=named), self.page.get_by_role("combobox", name=named)
        expect(buttons.or_(words)).to_be_visible()
        if words.count():
            words.select_option(label=word)
        else:
            buttons.get_by_role("radio", name=word, exact=True).check()

    def check(self, label: str) -> None:
        self.page.get_by_label(re.compile(label)).check()

    def find(self, part: str) -> None:
        """By a part of a serial, in the list of reels."""
        self.menu("Reels")
        write(self.page.get_by_label("Serial, machine, host or person"), part)
        self.page.keyboard.press("Enter")
        self.page.locator("main").get_by_role("link", name=re.compile("^LW-")).first.click()

    def menu(self, name: str) -> None:
        if (fold := self.page.get_by_text("Menu", exact=True)).is_visible():
            fold.click()
        self.page.get_by_role("navigation").get_by_role("link", name=name, exact=True).click()

    def open_act(self, words: str) -> None:
        """One of the acts of the page, which may be folded."""
        if not (link := self.page.get_by_role("link", name=words, exact=True)).is_visible():
            self.page.locator("summary").filter(has_text=re.compile(r"^(Other acts|Acts)\b")).click()
        link.click()


@pytest.fixture
def somebody(browser, live_server):
    everybody = []

    def log_in(person) -> Somebody:
        everybody.append(Somebody(browser, live_server, person))
        return everybody[-1]

    yield log_in
    for each in everybody:
        each.page.context.close()


def test_a_technician_and_a_verifier_count_and_sign(live_server, somebody):
    cast = in_a_thread(make_cast)
    tess, vic = somebody(cast.technician), somebody(cast.verifier)
    prepare(tess.take_up("Begin a count: LW-0001"))
    vic.page.reload()
    at_step(vic.take_up("Witness this point now"), 1)
    key_everything(tess.page, vic.page)
    for each, word in ((tess, "counted"), (vic, "verified")):
        each.page.wait_for_url("**/result")
        sign(each.take_up("Compare and sign"), word)
        expect(each.waits("Compare and sign")).to_have_count(0)
    tess.take_up("Return the gauge")
    tess.submit(Serial_of_the_wrap_gauge="WG-RM-7")
    expect(tess.waits("Return the gauge")).to_have_count(0)
    assert in_a_thread(lambda: [each.meaning for each in SignOff.objects.all()]) == ["counted", "verified"]


@pytest.fixture
def desk(live_server):
    return in_a_thread(make_desk_fleet)


def test_maintenance_control_keeps_reels_and_values_going(desk, somebody):
    mona = somebody(desk.cast.control)
    mona.take_up("Record the removal: LW-0008")
    mona.choose("Did cable go out", "no")
    mona.submit(Reason="To be counted again.")
    mona.take_up("Issue setup values: LW-0005")
    mona.submit(Machine="RM-4")
    mona.take_up("Install the reel in RM-4: LW-0005")
    mona.submit()
    expect(mona.waits("LW-0005")).to_have_count(0)  # the gauge and the numbers are the setter's
    mona.take_up("End the hold: LW-0009")
    mona.submit(Reason="The flange was straightened.")
    expect(mona.waits("LW-0008|LW-0009")).to_have_count(0)
    mona.find("lw12")
    mona.open_act("Log a cut")
    mona.submit(Date_and_time="2026-11-02T08:30", Cable_removed="3.2", Work_order="WO-8")
    expect(mona.page.get_by_role("status").first).to_contain_text("3.2 m")


def test_two_sites_hand_a_reel_over(desk, somebody):
    stella = somebody(desk.cast.stranger)
    stella.take_up("Receive the reel: LW-0014")
    stella.choose("Condition it came in", "sound")
    stella.submit()
    expect(stella.waits("Receive")).to_have_count(0)
    expect(stella.waits("Begin a count: LW-0014 at Aldermere")).to_have_count(1)


def test_a_setter_sets_and_another_person_confirms(desk, somebody):
    seth, cora = somebody(desk.cast.setter), somebody(desk.cast.confirmer)
    expect(cora.waits("Confirm")).to_have_count(0)
    seth.take_up("Return the wrap gauge: LW-0007")
    seth.check("back in its place")
    seth.submit()
    seth.take_up("Set the numbers and read them back: LW-0007")
    numbers = {"Layers_shown": str(desk.installed.layers), "Wraps_shown": str(desk.installed.wraps)}
    seth.submit(**numbers)
    expect(seth.waits("LW-0007")).to_have_count(0)
    cora.page.reload()
    cora.take_up("Confirm what the machine shows: LW-0007")
    cora.submit(**numbers)
    expect(cora.waits("LW-0007")).to_have_count(0)
    assert in_a_thread(
        lambda: SetupValues.objects.filter(confirmed_by=desk.cast.confirmer, pk=desk.installed.pk).exists()
    )


def test_an_analyst_has_drift_looked_into_and_who_looks_ends_the_flag(desk, somebody):
    mona, noel = somebody(desk.cast.control), somebody(desk.cast.colleague)
    expect(mona.waits("LW-0020")).to_have_count(0)  # somebody looks into it
    _look_into(noel, "LW-0020", "unexplained")
    mona.page.reload()
    mona.take_up("Look at its drift: LW-0020")
    mona.page.get_by_role("link", name="Assign").first.click()
    mona.submit(Assigned_to="noel")
    noel.page.reload()
    _look_into(noel, "LW-0020", "confirmed_loss")


def _look_into(somebody: Somebody, serial: str, outcome: str) -> None:
    somebody.take_up(f"Record findings: {serial}")
    somebody.submit(Findings="The workshop's log names no cut; the cable is short of its last mark.")
    somebody.take_up(f"Close the flag: {serial}")
    somebody.submit(Outcome=outcome, Reason="Measured on the bench.")
    expect(somebody.waits(serial)).to_have_count(0)


def test_quality_assurance_decides_voids_and_audits(desk, somebody):
    rhea, vic = somebody(desk.cast.releaser), somebody(desk.cast.verifier)
    rhea.take_up("Decide: ")
    rhea.choose("Decision", "have it read again")
    rhea.submit(Reason="The left flange was cleaned; read it again.")
    expect(rhea.waits("Decide: ")).to_have_count(0)
    rhea.take_up("Close the finding")
    rhea.choose("How it was closed", "looked at again and judged sound")
    rhea.submit(Reason="Looked at again: a shadow.")
    vic.find("LW-0005")
    vic.page.get_by_role("link", name=re.compile("^Inspection")).first.click()
    vic.page.get_by_role("link", name="Void this count").click()
    vic.submit(Reason="The other reel was on the stand.")
    rhea.take_up("Confirm the void")
    rhea.submit()
    vic.menu("Sign-offs")
    expect(vic.page.get_by_role("row")).not_to_have_count(0)


def test_an_administrator_confirms_rules_and_a_script_gets_its_token(browser, live_server, somebody):
    in_a_thread(lambda: builders.source_rules(builders.make_type("w30", is_confirmed=False)))
    first, second = (somebody(in_a_thread(each)) for each in (builders.administrator, builders.second_administrator))
    expect(first.waits("Confirm the rules")).to_have_count(0)  # who wrote them does not
    second.take_up("Confirm the rules: Reel type w30")
    second.submit()
    expect(second.waits("w30")).to_have_count(0)
    second.page.get_by_role("link", name="Bea Second").click()
    second.page.get_by_role("link", name=re.compile("[Tt]oken")).first.click()
    second.page.get_by_role("link", name="Make a token").first.click()
    second.check("read what its owner may read")
    write(second.page.get_by_label("Name of the script"), "register reader")
    write(second.page.get_by_label("Your password, again"), PASSWORD)
    second.page.keyboard.press("Enter")
    secret = second.page.locator("code.secret").inner_text()
    with_it = {"Authorization": f"Bearer {secret}"}
    script = browser.new_context()  # without anybody's session
    answers = [script.request.get(f"{live_server.url}/api/v1/reels", headers=headers) for headers in (with_it, {})]
    assert [each.status for each in answers] == [200, 401]
    script.close()


def test_a_trainee_practises_and_an_instructor_sees_it(live_server, somebody):
    made = in_a_thread(make_practised)
    trainee, inga = somebody(made.trainee), somebody(made.cast.instructor)
    trainee.take_up("Practise a count")
    draw(trainee.page, 3)
    trainee.take_up("Go on with the practice reel")
    reel = in_a_thread(lambda: reel_of(made.trainee.exercises.select_related("person").get(ended_at=None)))
    count(trainee.page, reel)
    trainee.page.get_by_label("Layers to set").fill(str(reel.answer.layers))
    trainee.page.get_by_label("Wraps to set").fill(str(reel.answer.wraps))
    trainee.check("set the machine to these numbers")
    trainee.page.get_by_role("button", name="See the answers").click()
    expect(trainee.page.get_by_role("heading", level=1)).to_have_text("All correct")
    expect(trainee.waits("Go on with the practice reel")).to_have_count(0)
    inga.menu("Practice")
    inga.page.get_by_role("link", name="The people you instruct").click()
    inga.page.get_by_role("link", name=made.trainee.full_name).click()
    expect(inga.page.get_by_role("table").last).to_contain_text("plain")  # those before were harder
