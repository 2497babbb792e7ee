"""Chromium at the bench of a shop of the examples."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from setwright.bench.shop import add_job, make_shop
from tests.browser.served import CHROMIUM, FLAGS, served

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
JOBS = ("kestrel-float", "dunlin-heavier", "sanderling-lower", "knot-too-weak")
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1280, 800)}


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, str]]:
    """The shop as made once, and its visits by the name of their job."""
    at = str(tmp_path_factory.mktemp("browser") / "shop")
    make_shop(at, "Weir Lane Bench")
    visits = {name: add_job(at, str(EXAMPLES / f"{name}.job.toml"), owner="Ada Lark").added.visit.id for name in JOBS}
    return at, visits


@pytest.fixture
def visits(made: tuple[str, dict[str, str]]) -> dict[str, str]:
    """Ids of its visits by the name of their job."""
    return made[1]


@pytest.fixture
def shop(made: tuple[str, dict[str, str]], tmp_path: Path) -> str:
    """A shop with four open visits, a copy for this test alone."""
    shutil.copytree(made[0], tmp_path / "shop")
    return str(tmp_path / "shop")


@pytest.fixture
def address(shop: str, tmp_path: Path) -> Iterator[str]:
    """Where the bench of the shop answers."""
    with served(shop, tmp_path / "state") as address:
        yield address


@pytest.fixture
def chromium() -> Iterator[Callable[..., Any]]:
    """Starts Chromium, with more flags where a test needs them; all of them end with the test."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed (as root: apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield lambda *flags: play.chromium.launch(executable_path=CHROMIUM, args=[*FLAGS, *flags])


def sign_in(page: Any, address: str, name: str = "Mara") -> None:
    """Say who is here, as the first page asks."""
    page.goto(f"{address}/who")
    page.fill("#name", name)
    with page.expect_navigation():
        page.click("text=This is me")
