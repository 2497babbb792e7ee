"""Readings, plan and step in Chromium: by keyboard, on every size, and the peg drawn live."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from setwright.bench.journals import InShop, keep
from setwright.bench.shop import show_visit
from tests.browser.conftest import SIZES, sign_in
from tests.web.test_step import HARDWARE, heard

pytestmark = pytest.mark.slow
SMALL = (
    "[...document.querySelectorAll('main a, main button, main input, main select, main summary')]"
    ".map(e => [e.outerHTML, e.getBoundingClientRect(), e.type])"
    ".filter(([h, r, t]) => r.width > 1 && r.height < 44 && t !== 'checkbox').map(([h]) => h)"
)


def opened(chromium: Callable[..., Any], address: str, size: str = "tablet", ground: str = "light", **more: Any) -> Any:
    """A page of a signed-in browser that keeps what goes wrong in `page.wrong`."""
    width, height = SIZES[size]
    context = chromium().new_context(viewport={"width": width, "height": height}, color_scheme=ground, **more)
    page = context.new_page()
    page.wrong = []
    page.on("console", lambda m: page.wrong.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    sign_in(page, address)
    return page


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("ground", ["light", "dark"])
def test_pages_fit_every_screen(
    chromium: Callable[..., Any],
    address: str,
    shop: str,
    visits: dict[str, str],
    tmp_path: Path,
    size: str,
    ground: str,
) -> None:
    visit = visits["dunlin-heavier"]
    for line in (*HARDWARE, *heard(), *heard(), *heard(gap="2.25 mm")):
        keep(InShop(shop, visit), [line])
    page = opened(chromium, address, size, ground)
    for name, path in (
        ("step", f"/visit/{visit}/step"), ("heads", f"/visit/{visits['sanderling-lower']}/step"),
        ("readings", f"/visit/{visit}/readings"), ("plan", f"/visit/{visit}/plan"),
    ):  # fmt: skip
        page.goto(address + path)
        if name == "plan":
            page.wait_for_selector("ol.card", timeout=60_000)
        page.screenshot(path=tmp_path / f"{name}-{size}-{ground}.png", full_page=True)
        assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0], name
        assert page.evaluate(SMALL) == [], name
    assert page.wrong == []


def test_readings_by_keyboard_alone(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str]
) -> None:
    visit = visits["kestrel-float"]
    page = opened(chromium, address)
    page.goto(f"{address}/visit/{visit}/readings")
    page.focus("#string-height input[data-words]")
    for text in ("1.6", "5/64", "16", "1.8", "1.9"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    page.wait_for_selector("#string-height .wrong:visible")
    assert "did you mean 1.6 mm" in page.inner_text("#string-height .wrong:visible")  # at once, nothing was sent
    assert show_visit(shop, visit).journal.entries == ()
    sure = page.locator("#string-height .tick:visible input")
    sure.focus()
    page.keyboard.press("Space")
    page.focus("#string-height .spot:last-child input[data-words]")
    page.keyboard.type("2.0")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=#1 to #6 are kept.")
    assert [one.value.written for one in show_visit(shop, visit).journal.entries] == [
        "1.6 mm", "5/64", "16 mm", "1.8 mm", "1.9 mm", "2.0 mm"
    ]  # fmt: skip
    page.keyboard.press("Tab")
    page.click("text=Take it back")
    page.wait_for_selector("text=Struck: #1")
    assert page.wrong == []


def test_without_scripts_a_step_is_done_and_taken_back(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str]
) -> None:
    visit = visits["dunlin-heavier"]
    page = opened(chromium, address, "phone", java_script_enabled=False)
    page.goto(f"{address}/visit/{visit}/step")
    assert "Protect the finish" in page.inner_text("h1")
    page.click("text=Done")
    assert "Slacken all strings" in page.inner_text("h1")
    page.click("text=Take it back")
    assert "Protect the finish" in page.inner_text("h1")
    page.goto(f"{address}/visit/{visit}/readings")
    page.fill("#climate input[data-words=temperature]", "21")
    page.click("#climate button")
    assert [one.text for one in show_visit(shop, visit).journal.entries][2:] == ["temperature = 21 C"]


def test_two_benches_see_the_same_step(chromium: Callable[..., Any], address: str, visits: dict[str, str]) -> None:
    one, other = opened(chromium, address), opened(chromium, address)
    for page in (one, other):
        page.goto(f"{address}/visit/{visits['dunlin-heavier']}/step")
    one.click("form.did button")
    other.wait_for_selector("h1:has-text('Slacken all strings')", timeout=15_000)


def test_the_peg_is_drawn_as_it_is_heard(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str]
) -> None:
    visit = visits["dunlin-heavier"]
    even = ("1 c",) * 5 + ("9 c",)
    lines = [*HARDWARE, *heard(), *heard(), *heard(), "did claw out 1/32 turn", *heard(gap="2.4 mm"),
             *heard(even, gap="2.4 mm") * 2, "did claw in 1/32 turn", *heard(even, gap="2.4 mm") * 2]  # fmt: skip
    for line in lines:
        keep(InShop(shop, visit), [line])
    page = opened(chromium, address)
    page.goto(f"{address}/visit/{visit}/step")
    to = float(page.get_attribute("#pitch", "data-to"))

    def heard_now(cents: float | None, sd: float) -> Any:
        script = (
            "async ([c, s]) => { const at = [...document.scripts].find(e => e.src.includes('step.mjs')).src;"
            " const {show, peg} = await import(at); const said = show(c, s); return [said, peg,"
            " document.querySelector('.middle').getAttribute('d'), document.querySelector('.slot').getAttribute('x'),"
            " document.querySelector('.slot').getAttribute('width'), document.getElementById('amount').textContent]; }"
        )
        return page.evaluate(script, [cents, sd])

    def foot(line: str) -> float:
        return float(line.split("L")[2].split()[0])

    said, peg, line, left, width, words = heard_now(to + 30.0, 0.5)
    assert peg["to"] == to
    assert said["rests"] is False
    assert "down 30 c" in words
    assert not float(left) <= foot(line) <= float(left) + float(width)
    said, _, line, left, width, words = heard_now(to, 0.3)
    assert said["rests"] is True
    assert "rests at its mark" in words
    assert float(left) <= foot(line) <= float(left) + float(width)
    assert heard_now(to, 3.0)[0]["rests"] is False  # known too little to say so
    assert heard_now(None, 0.0)[0] is None
    assert page.inner_text("#now") == "Nothing is heard."
    assert heard_now(to - 900.0, 5.0)[0]["off"] == pytest.approx(900.0)
    assert page.wrong == []
