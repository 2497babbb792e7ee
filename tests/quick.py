"""The quick loop: which tests it leaves out besides those marked slow, and how these are found.

`pytest -m "not slow" --weigh` takes the processor time of every test and writes slow.txt anew for the files it ran.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest

LIST = Path(__file__).with_name("slow.txt")
LIMIT = 0.3  # s of processor time a test of the quick loop may take, without its fixtures, on a machine that has others
HEAD = (
    f"# Tests that took more than {LIMIT} s of processor time when they were last weighed: all tests run them, the\n"
    "# quick loop leaves them out. Written by pytest -m 'not slow' --weigh (tests/quick.py).\n"
)


def listed(path: Path = LIST) -> frozenset[str]:
    """The tests the quick loop leaves out.

    Args:
        path: of the list.
    Returns: their ids.
    """
    return frozenset(line for line in path.read_text("utf-8").splitlines() if line and not line.startswith("#"))


def file_of(test: str) -> str:
    """The file of a test.

    Args:
        test: its id.
    Returns: path from the root of the project.
    """
    return test.partition("::")[0]


def spent() -> float:
    """Processor time of this process and of those it has waited for [s]."""
    return sum(os.times()[:4])


class Weigher:
    """Takes the processor time of every test, in all processes, and writes those over the limit."""

    def __init__(self, in_worker: bool, path: Path = LIST) -> None:
        self.in_worker = in_worker
        self.path = path
        self.taken: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True, tryfirst=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Generator[None, object, object]:
        before = spent()
        try:
            return (yield)
        finally:
            item.user_properties.append(("spent", spent() - before))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call":
            times = [float(str(value)) for name, value in report.user_properties if name == "spent"]
            self.taken[report.nodeid] = sum(times)

    def pytest_sessionfinish(self) -> None:
        if self.in_worker or not self.taken:
            return
        ran = {file_of(test) for test in self.taken}
        kept = {test for test in listed(self.path) if file_of(test) not in ran}
        over = {test for test, time in self.taken.items() if time > LIMIT}
        self.path.write_text(HEAD + "".join(f"{test}\n" for test in sorted(kept | over)), "utf-8")
