"""What every test may use: the judge of outside values and the page it feeds; what the quick loop leaves out."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import hypothesis
import pytest

from tests.judging import Row, as_property, judge, page
from tests.quick import Weigher, listed

# No deadline: on a busy machine it says nothing about the code. CI draws the same examples every time.
hypothesis.settings.register_profile("here", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True, database=None, print_blob=True)
PROFILE = "ci" if os.environ.get("CI") else "here"
hypothesis.settings.load_profile(PROFILE)
QUICK = "not slow"  # what the quick loop asks for with -m

os.environ["SETWRIGHT_CACHE"] = ""  # nothing worked out by a test is kept for this user

ROWS = pytest.StashKey[list[Row]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--validation-page", metavar="FILE", help="write the judged values of this run to FILE (Markdown)")
    parser.addoption("--weigh", action="store_true", help="write tests/slow.txt anew for the files of this run")


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("markexpr") == QUICK:  # before any test is imported, so that all of them draw fewer
        fewer = hypothesis.settings(hypothesis.settings.get_profile(PROFILE), max_examples=20)
        hypothesis.settings.register_profile("quick", fewer)
        hypothesis.settings.load_profile("quick")
    config.stash[ROWS] = []
    config.pluginmanager.register(Collector(config), "judged-rows")
    if config.getoption("--weigh"):
        config.pluginmanager.register(Weigher(hasattr(config, "workerinput")), "weigher")


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What is collected stays to the end: looking for garbage in it over and over was a quarter of all time."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.collect()
        gc.freeze()
        gc.enable()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    out = frozenset() if config.getoption("--weigh") else listed()
    for item in items:
        if item.nodeid in out:
            item.add_marker(pytest.mark.slow)


class Collector:
    """Gathers the judged rows of all processes and writes the page at the end of a passing run."""

    def __init__(self, config: pytest.Config) -> None:
        self.config = config

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call":
            rows = [Row(**value) for name, value in report.user_properties if name == "judged"]  # type: ignore[arg-type]
            self.config.stash[ROWS].extend(rows)

    def pytest_sessionfinish(self, session: pytest.Session, exitstatus: int) -> None:
        target = self.config.getoption("--validation-page")
        in_worker = hasattr(self.config, "workerinput")
        if target and not in_worker and exitstatus in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            Path(target).write_text(page(self.config.stash[ROWS]), encoding="utf-8")


@pytest.fixture
def judged(request: pytest.FixtureRequest) -> Callable[..., None]:
    """judged(what, expected, got, tolerance, unit, source, mark, *, scale=None, wrong=None): see tests/judging.py."""

    def check(*args: Any, **kwargs: Any) -> None:
        row = judge(*args, **kwargs, module=request.node.path.stem.removeprefix("test_"))
        request.node.user_properties.append(("judged", as_property(row)))

    return check
