"""What a bench in a workshop goes through: the program killed, the tablet asleep, the network gone for a minute.

Nothing that the page said was kept is lost, nothing that was typed is lost, the page says what is the matter, and goes
on by itself when it can.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest

from setwright.bench.journals import InShop, job_from, keep
from setwright.bench.shop import show_visit
from tests.browser.conftest import sign_in
from tests.browser.hands import MICROPHONE, STRINGS, Hands, until
from tests.browser.served import Serving
from tests.web.test_step import HARDWARE

pytestmark = pytest.mark.slow
KILLS = 8  # times the bench is killed while it takes a form
WITHIN = 0.12  # s after sending, in which it is killed
ASLEEP = 24  # s: longer than the bench waits for sound
GONE = 60  # s
AWAY = "The bench does not answer"


@pytest.fixture
def bench(shop: str, tmp_path: Path) -> Iterator[Serving]:
    """A bench that can be killed."""
    serving = Serving(shop, tmp_path / "state")
    serving.start()
    yield serving
    serving.stop()


def opened(chromium: Callable[..., Any], address: str, path: str) -> Any:
    """A page of a signed-in browser whose microphone hears what the test plays."""
    context = chromium(*MICROPHONE).new_context(viewport={"width": 820, "height": 1180})
    context.add_init_script(STRINGS)
    page = context.new_page()
    sign_in(page, address)
    page.goto(address + path)
    return page


def at_hearing(shop: str, visits: dict[str, str]) -> str:
    """A visit whose step asks for every string."""
    visit = visits["dunlin-heavier"]
    for line in HARDWARE:
        keep(InShop(shop, visit), [line])
    return visit


class AtPitch:
    """The strings of a visit, each 17 cents under its wanted pitch, as `Hands` plucks them."""

    def __init__(self, shop: str, visit: str) -> None:
        self.truth = SimpleNamespace(hertz=[0.99 * one.si for one in job_from(InShop(shop, visit)).want.tuning])


def hears(page: Any, hands: Hands, string: int) -> None:
    """Play a string until its field is filled."""
    for _ in range(4):
        hands.pluck(string)
        filled = f"() => document.querySelector('input[data-words=\"pitch string {string}\"]').value !== ''"
        if until(page, filled, patience=6000):
            hands.hush()
            return
    raise AssertionError(f"string {string} is not heard: {page.inner_text('#ear-says')}")


def says(page: Any, words: str, patience: float = 15_000) -> None:
    """Wait until the line at the head of the page says something; "" for nothing."""
    shown = """(words) => { const told = document.getElementById("told");
        return words ? !told.hidden && told.textContent.includes(words) : told.hidden; }"""
    assert until(page, shown, words, patience), page.inner_text("#told")


def values(page: Any) -> dict[str, str]:
    """What stands in the fields."""
    script = """Object.fromEntries([...document.querySelectorAll("input[data-words]")]
        .map((one) => [one.dataset.words, one.value]))"""
    found: dict[str, str] = page.evaluate(script)
    return found


def test_a_bench_killed_while_strings_are_heard_takes_nothing_with_it(
    chromium: Callable[..., Any], bench: Serving, shop: str, visits: dict[str, str]
) -> None:
    visit = at_hearing(shop, visits)
    page = opened(chromium, bench.address, f"/visit/{visit}/step")
    hands = Hands(page, AtPitch(shop, visit))
    hands.listen()
    page.uncheck("#onward")
    page.fill("input[data-words='rear gap']", "2.30 mm")
    for string in (1, 2, 3):
        hears(page, hands, string)
    before = values(page)
    bench.kill()
    says(page, AWAY)
    assert "so nothing is heard" in page.inner_text("#ear-wrong")
    page.click("button:has-text('Keep')")
    says(page, "nothing was sent")
    assert values(page) == before
    bench.start()
    says(page, "")
    assert until(page, "() => document.getElementById('listen').textContent === 'Stop'"), page.inner_text("#ear-wrong")
    assert page.is_hidden("#ear-wrong")
    for string in (4, 5, 6):
        hears(page, hands, string)
    page.click("button:has-text('Keep')")
    page.wait_for_selector("text=are kept", timeout=30_000)
    entries = show_visit(shop, visit).journal.entries[len(HARDWARE) :]
    assert [one.what for one in entries] == ["pitch"] * 6 + ["rear gap"]


def test_what_was_said_to_be_kept_is_kept_whenever_the_bench_is_killed(
    chromium: Callable[..., Any], bench: Serving, shop: str, visits: dict[str, str]
) -> None:
    from playwright.sync_api import Error

    visit, chance = visits["kestrel-float"], Random(7)
    page = opened(chromium, bench.address, "/")
    said: list[str] = []
    for n in range(KILLS):
        reading = f"{20 + n / 10:.1f}"
        page.goto(f"{bench.address}/visit/{visit}/readings")
        page.fill("#climate input[data-words=temperature]", reading)
        page.evaluate("setTimeout(() => document.querySelector('#climate button').click())")
        page.wait_for_timeout(1000 * WITHIN * chance.random())
        bench.kill()
        page.wait_for_timeout(300)
        try:
            if page.locator(".said").count() and "is kept" in page.inner_text(".said"):
                said.append(reading)
        except Error:
            pass  # the browser's own page stands there
        bench.start()
    kept = [f"{one.value.si - 273.15:.1f}" for one in show_visit(shop, visit).journal.entries if one.value is not None]
    assert set(said) <= set(kept), (said, kept)
    assert len(kept) == len(set(kept))  # nothing twice
    assert [one.number for one in show_visit(shop, visit).journal.entries] == list(range(1, len(kept) + 1))


def test_a_tablet_that_slept_shows_what_changed_and_listens_again(
    chromium: Callable[..., Any], bench: Serving, shop: str, visits: dict[str, str]
) -> None:
    visit = at_hearing(shop, visits)
    page = opened(chromium, bench.address, f"/visit/{visit}/step")
    hands = Hands(page, AtPitch(shop, visit))
    hands.listen()
    page.uncheck("#onward")
    hears(page, hands, 1)
    before = values(page)
    lid = page.context.new_cdp_session(page)
    lid.send("Page.setWebLifecycleState", {"state": "frozen"})
    other = page.context.browser.new_page()
    other.wait_for_timeout(1000 * ASLEEP)
    keep(InShop(shop, visit), ["read", "temperature = 21 C"], who="Bo")
    lid.send("Page.setWebLifecycleState", {"state": "active"})
    says(page, "changed at another bench")
    assert values(page) == before
    assert until(page, "() => document.getElementById('listen').textContent === 'Stop'"), page.inner_text("#ear-wrong")
    hears(page, hands, 2)


def test_a_network_that_is_gone_for_a_minute_costs_nothing(
    chromium: Callable[..., Any], bench: Serving, shop: str, visits: dict[str, str]
) -> None:
    visit = visits["kestrel-float"]
    page = opened(chromium, bench.address, f"/visit/{visit}/readings")
    page.fill("#climate input[data-words=temperature]", "21")
    page.click("#climate button")
    page.wait_for_selector("text=#1 is kept")
    page.fill("#climate input[data-words=humidity]", "45")
    page.context.set_offline(True)
    page.wait_for_timeout(1000 * GONE)
    page.click("#climate button")
    says(page, "nothing was sent")
    assert values(page)["humidity"] == "45"
    assert [one.what for one in show_visit(shop, visit).journal.entries] == ["temperature"]
    page.context.set_offline(False)
    page.click("#climate button")
    page.wait_for_selector("text=#2 is kept", timeout=15_000)
    assert [one.what for one in show_visit(shop, visit).journal.entries] == ["temperature", "humidity"]
