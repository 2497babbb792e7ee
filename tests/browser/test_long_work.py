"""Long work in Chromium: how far it is, called off by a button, begun again by another, with scripts off as well."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.browser.conftest import SIZES
from tests.browser.test_step import opened

pytestmark = pytest.mark.slow


def test_a_plan_is_called_off_and_begun_again_with_scripts_off(
    chromium: Callable[..., Any], address: str, visits: dict[str, str]
) -> None:
    page = opened(chromium, address, "phone", java_script_enabled=False)
    path = f"{address}/visit/{visits['sanderling-lower']}/plan"
    for name in ("kestrel-float", "dunlin-heavier"):  # some seconds of work, for which the plan has to wait
        page.goto(f"{address}/visit/{visits[name]}/sheet?drawn=1")
    page.goto(path)
    assert page.inner_text("h1") == "The plan is being worked out"
    assert "It waits until other work beside the pages is done." in page.inner_text("main")
    other = page.context.new_page()
    with page.expect_navigation():
        page.click("text=Call it off")
    assert page.url == path
    assert page.inner_text("h1") == "Called off"
    assert "was called off by Mara" in page.inner_text("main")
    other.goto(path)
    assert other.inner_text("h1") == "Called off"
    assert page.locator("main button:visible").evaluate_all("all => all.map(e => e.textContent)") == ["Begin again"]
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES["phone"][0]
    with page.expect_navigation():
        page.click("text=Begin again")
    assert page.inner_text("h1") == "The plan is being worked out"
    page.wait_for_selector("ol.card", timeout=60_000)  # it comes by itself
    other.goto(path)
    assert other.locator("ol.card").count() == 1
