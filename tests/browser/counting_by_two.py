"""Counts worked through the pages by two people, each on their own phone, with everything that they touch watched."""

import time
from collections.abc import Iterator, Sequence
from datetime import date

from django.utils import timezone
from playwright.sync_api import Browser, Page

from tests import builders
from tests.browser.drawn_counts import EXAMPLE, SimulatedCount
from tests.browser.effort import CountedEffort, EffortCounter
from tests.browser.journeys import log_in
from tests.browser.keystroke_level import TECHNICIAN, VERIFIER
from tests.browser.threads import in_a_thread
from tests.browser.worksheet_steps import (
    LAST,
    STEPS,
    at_step,
    begin,
    find_witness_page,
    key_crossover,
    key_gauge,
    key_once_more,
    key_scales,
    key_step,
    key_wraps,
    phone,
    record_finding,
    return_gauge,
    sign,
)
from tests.builders import Cast

STEP_OF = {
    "scale_left": key_scales, "scale_right": key_scales, "hand_wraps": key_wraps, "gauge_wraps": key_gauge,
    "crossover_half": key_crossover,
}  # fmt: skip


def worked(browser: Browser, live_server, cast: Cast, counts: Sequence[SimulatedCount]) -> Iterator[CountedEffort]:
    """Each count, once it is signed by both and the gauge is back; the phones are new to each."""
    in_a_thread(lambda: _make_ready(cast, counts))
    for count in counts:
        counter = EffortCounter()
        tess, vic = (phone(browser).new_page() for _ in range(2))
        for page, person, name in ((tess, cast.technician, TECHNICIAN), (vic, cast.verifier, VERIFIER)):
            log_in(page, live_server.url, person)
            counter.watch(name, page)
        began = time.monotonic()
        _count(tess, vic, live_server, counter, count)
        yield CountedEffort(count=count, counter=counter, script_s=time.monotonic() - began)
        for page in (tess, vic):
            page.context.close()


def _make_ready(cast: Cast, counts: Sequence[SimulatedCount]) -> None:
    """The reels, of which nothing foretells a count; and another of the day by a work order that then is offered."""
    builders.make_finding_kind()
    for serial in ("LW-0002", *(each.serial for each in counts)):
        builders.make_reel(serial, received_on=date(2024, 3, 1), cable_length_m=None)
    builders.open_count(cast, "LW-0002", timezone.now(), has_gauge=False, work_order=EXAMPLE.work_order)


def _count(tess: Page, vic: Page, live_server, counter: EffortCounter, count: SimulatedCount) -> None:
    begin(tess, live_server, count.serial, work_order=count.work_order, not_sound="cable" if count.has_finding else "")
    if count.has_finding:
        record_finding(tess, "cable kink", "a kink")
    find_witness_page(vic, live_server, count.serial)
    for number in range(1, LAST + 1):
        _count_step(tess, vic, counter, count, number)
    sign(tess, "counted")
    sign(vic, "verified")
    return_gauge(tess)


def _count_step(tess: Page, vic: Page, counter: EffortCounter, count: SimulatedCount, number: int) -> None:
    differs = STEP_OF.get(count.differs_at) is STEPS[number - 1]
    key_step(tess, vic, number, count.read, by_vic=count.misread if differs else None)
    if differs:
        with counter.once_more():
            key_once_more(tess, vic, number, count.read)
    if number < LAST:
        at_step(vic, number + 1)
