"""The day's page in Chromium, on every size of screen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import SIZES, sign_in

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("ground", ["light", "dark"])
def test_the_day_fits_every_screen(
    chromium: Callable[..., Any], address: str, tmp_path: Path, size: str, ground: str
) -> None:
    browser = chromium()
    width, height = SIZES[size]
    page = browser.new_context(viewport={"width": width, "height": height}, color_scheme=ground).new_page()
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    sign_in(page, address)
    page.wait_for_selector(".next a >> nth=2", timeout=20_000)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.screenshot(path=tmp_path / f"day-{size}-{ground}.png", full_page=True)
    small = page.evaluate(
        "[...document.querySelectorAll('a, button, input')].map(e => [e.outerHTML, e.getBoundingClientRect()])"
        ".filter(([_, r]) => r.width && (r.height < 44)).map(([h]) => h)"
    )
    assert [one for one in small if "skip" not in one] == []
    assert wrong == []
    browser.close()
