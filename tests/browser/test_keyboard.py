"""The whole job without a pointer: every step reached with Tab, done with Enter, until the sheet is handed over."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from setwright.bench.shop import show_visit
from tests.browser.conftest import sign_in
from tests.browser.hands import ANOTHER, until

pytestmark = pytest.mark.slow
STEPS, TABS = 40, 90
FOCUSED = """() => { const one = document.activeElement, style = getComputedStyle(one);
    return { words: (one.textContent || "").trim(), asks: one.dataset.words || "", name: one.name || "",
        seen: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 }; }"""


def tab_to(page: Any, fits: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """Press Tab until what is focused fits; wherever it goes on the way is seen by its outline."""
    for _ in range(TABS):
        page.keyboard.press("Tab")
        found: dict[str, Any] = page.evaluate(FOCUSED)
        if found["words"] or found["asks"] or found["name"]:
            assert found["seen"], found
        if fits(found):
            return found
    raise AssertionError(f"not reached by {TABS} tabs on {page.url}")


def test_a_job_is_finished_by_keyboard_alone(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str]
) -> None:
    visit = visits["dunlin-heavier"]
    page = chromium().new_page()
    page.set_default_timeout(60_000)
    sign_in(page, address)
    page.goto(f"{address}/visit/{visit}/step")
    for _ in range(STEPS):
        if page.locator("h1.rest").count():
            break
        written = page.get_attribute("input[name=written]", "value")
        asked = page.locator("input[data-words]:visible").count()
        if asked:
            found = tab_to(page, lambda one: bool(one["asks"]))
            for n in range(asked):
                words = page.evaluate(FOCUSED)["asks"] if n else found["asks"]
                page.keyboard.type(
                    "0 c" if words.startswith("pitch") else "2.40 mm" if words == "rear gap" else "16.4 mm"
                )
                page.keyboard.press("Enter")  # to the next field; the last one keeps
        else:
            tab_to(page, lambda one: one["words"] in ("Done", "It is set"))
            page.keyboard.press("Enter")
        assert until(page, ANOTHER, written, 60_000), page.inner_text("main")
    assert page.locator("h1.rest").count(), page.inner_text("h1")
    tab_to(page, lambda one: one["words"] == "To the sheet")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=None was handed over yet")
    tab_to(page, lambda one: one["words"] == "Handed over")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=as it was printed")
    assert {one.who for one in show_visit(shop, visit).journal.entries} == {"Mara"}
    page.context.browser.close()
