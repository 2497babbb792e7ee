"""Every page, whoever added it: the rules of axe-core and our own, on a phone, a tablet and a laptop, paper and slate.

The pages are those the application has (`devtools/walk.py`), and a visit at every kind of step. At 360 pixels, and at
200 % of a window of 1280, nothing is to be drawn sideways and nothing cut off (WCAG 2.2, 1.4.4 and 1.4.10).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from devtools import walk
from devtools.serving import Serving
from tests.browser.conftest import sign_in
from tests.browser.looked_at import faults

pytestmark = pytest.mark.slow
WIDTHS = {"phone": (360, 740, 1), "tablet": (820, 1180, 1), "laptop": (1280, 800, 1), "zoomed": (640, 400, 2)}
PATIENCE = 180_000  # ms
CUT = """() => [...document.querySelectorAll("main *")].filter((one) => {
    if (one.closest("svg, .wide, .drawing, .unseen, .skip, pre, input, textarea, select")) return false;
    const style = getComputedStyle(one), box = one.getBoundingClientRect();
    if (!box.width || one.scrollWidth <= one.clientWidth + 1) return false;
    if (["hidden", "clip"].includes(style.overflowX)) return true;
    return style.overflowX === "visible" && !one.children.length && box.right > innerWidth;
}).map((one) => `cut off: ${one.outerHTML.slice(0, 90)}`)"""
COLOURS = {"runOnly": ["color-contrast"], "resultTypes": ["violations"]}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[walk.Shop, list[walk.Stop]]:
    """The invented shop with a visit at every kind of step."""
    made = walk.make(tmp_path_factory.mktemp("walk") / "shop")
    return made, walk.add_states(made)


@pytest.fixture(scope="module")
def address(shop: tuple[walk.Shop, list[walk.Stop]], tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where its bench answers."""
    serving = Serving(shop[0].at, tmp_path_factory.mktemp("state"))
    serving.start()
    yield serving.address
    serving.stop()


def violations(axe: Axe, page: Any, options: dict[str, Any] | None = None) -> list[str]:
    """What axe-core finds, one line for each rule and place."""
    found = axe.run(page, options=options or {"resultTypes": ["violations"]}).response["violations"]
    return [f"{one['id']}: {node['html'][:120]}" for one in found for node in one["nodes"]]


@pytest.mark.parametrize("size", WIDTHS)
def test_no_page_leaves_anybody_out(
    chromium: Callable[..., Any], address: str, shop: tuple[walk.Shop, list[walk.Stop]], size: str
) -> None:
    width, height, scale = WIDTHS[size]
    context = chromium().new_context(viewport={"width": width, "height": height}, device_scale_factor=scale)
    page, axe = context.new_page(), Axe()
    page.set_default_timeout(PATIENCE)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(f"{page.url}: {error}"))
    sign_in(page, address)
    found: dict[str, list[str]] = {}
    walked = 0
    for stop in (*walk.stops(shop[0], page, address), *shop[1]):
        page.emulate_media(color_scheme="light")
        page.goto(address + stop.path)
        page.wait_for_selector("body:not([data-reload=soon])")
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        lines = [*faults(page), *page.evaluate(CUT)]
        if scale == 1:  # zoomed, the rules say nothing else than on a phone
            lines += violations(axe, page)
            page.emulate_media(color_scheme="dark")
            lines += [*violations(axe, page, COLOURS), *faults(page)]
        if lines:
            found[stop.name] = sorted(set(lines))
        walked += 1
    assert found == {}
    assert wrong == []
    assert walked >= len(walk.routes(shop[0])) + len(walk.STATES)
    context.browser.close()


def test_axe_finds_what_is_wrong(chromium: Callable[..., Any]) -> None:
    browser = chromium()
    page = browser.new_page(viewport={"width": 360, "height": 700})
    page.set_content(
        "<title></title><img src='x'><input><p style='color:#999;background:#fff'>pale</p><main>"
        "<p style='overflow:hidden;width:90px;white-space:nowrap'>cut off in the midst of it</p></main>"
    )
    found = " ".join([*violations(Axe(), page), *page.evaluate(CUT)])
    for rule in ("image-alt", "label", "color-contrast", "html-has-lang", "document-title", "cut off"):
        assert rule in found, rule
    browser.close()
