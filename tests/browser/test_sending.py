"""A long recording on its way to the bench in Chromium: how much is there, calling it off, what comes after."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from setwright.bench.shop import show_visit
from tests.browser.hands import until
from tests.browser.looked_at import faults
from tests.browser.test_step import opened

pytestmark = pytest.mark.slow
SLOW = {"offline": False, "latency": 5, "downloadThroughput": -1, "uploadThroughput": 400_000}  # bytes a second
SHARE = "document.querySelector('#sending progress').position"


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Quiet noise, long enough to take seconds on the way."""
    file = tmp_path / "long.wav"
    soundfile.write(file, 1e-3 * np.random.default_rng(1).standard_normal(48_000 * 30), 48_000, subtype="PCM_16")
    return file


def test_a_recording_on_its_way_tells_how_much_is_there_and_is_called_off(
    chromium: Callable[..., Any], address: str, shop: str, visits: dict[str, str], recording: Path
) -> None:
    visit = visits["dunlin-heavier"]
    page = opened(chromium, address, "phone")
    page.goto(f"{address}/visit/{visit}/listening")
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.emulateNetworkConditions", SLOW)
    page.set_input_files("#recording", recording)
    page.click("text=Hear it")
    page.wait_for_selector("#sending:visible")
    assert until(page, f"() => {SHARE} > 0.02", patience=30_000), page.inner_text("#sending")
    assert " MB sent." in page.inner_text("#sending")
    assert 0.0 < page.evaluate(SHARE) < 1.0
    assert faults(page) == []
    page.click("#sending button")
    assert page.inner_text("#take-wrong") == "Called off; nothing was kept."
    assert not page.is_visible("#sending")
    assert page.url.endswith("/listening")
    assert show_visit(shop, visit).attachments == ()
    session.send("Network.emulateNetworkConditions", SLOW | {"uploadThroughput": -1})
    page.click("text=Hear it")  # what was chosen is still there
    page.wait_for_url("**/take/*", timeout=60_000)
    assert "long.wav" in page.inner_text("h1")
    assert page.wrong == []


def test_what_the_bench_does_not_take_is_said_beside_the_file(
    chromium: Callable[..., Any], address: str, visits: dict[str, str], tmp_path: Path
) -> None:
    page = opened(chromium, address, "phone")
    page.goto(f"{address}/visit/{visits['dunlin-heavier']}/listening")
    empty = tmp_path / "nothing.wav"
    empty.touch()
    page.set_input_files("#recording", empty)
    page.click("text=Hear it")
    assert until(page, "() => !document.getElementById('take-wrong').hidden", patience=30_000)
    assert "The recording is empty; choose another file." in page.inner_text("#take-wrong")
    assert not page.is_visible("#sending")
    page.context.set_offline(True)
    page.click("text=Hear it")
    assert until(page, "() => /does not answer/.test(document.body.innerText)", patience=30_000)
