"""The quick loop: the list of what it leaves out names tests there are, weighing writes it, properties draw fewer."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import hypothesis
import pytest

from tests.examples import examples
from tests.quick import HEAD, LIMIT, Weigher, file_of, listed

ROOT = Path(__file__).resolve().parents[2]


def report(test: str, time: float) -> pytest.TestReport:
    return pytest.TestReport(test, ("", 0, ""), {}, "passed", None, "call", user_properties=[("spent", time)])


def test_every_test_of_the_list_is_there() -> None:
    names = [(ROOT / file_of(test), test.partition("[")[0].rpartition("::")[2]) for test in sorted(listed())]
    assert names
    gone = [f"{path.name} {name}" for path, name in names if f"def {name}(" not in path.read_text("utf-8")]
    assert gone == []


def test_the_list_is_in_order_and_names_none_twice() -> None:
    lines = (ROOT / "tests" / "slow.txt").read_text("utf-8").removeprefix(HEAD).splitlines()
    assert lines == sorted(set(lines))


def test_weighing_writes_anew_what_ran_and_leaves_the_rest(tmp_path: Path) -> None:
    path = tmp_path / "slow.txt"
    path.write_text(HEAD + "tests/a.py::test_was_slow\ntests/b.py::test_not_run\n", "utf-8")
    weigher = Weigher(in_worker=False, path=path)
    for test, time in (("tests/a.py::test_was_slow", LIMIT / 2), ("tests/a.py::test_is[x y]", LIMIT + 0.01)):
        weigher.pytest_runtest_logreport(report(test, time))
    weigher.pytest_sessionfinish()
    assert listed(path) == {"tests/a.py::test_is[x y]", "tests/b.py::test_not_run"}
    assert path.read_text("utf-8").startswith(HEAD)


@pytest.mark.parametrize("in_worker", [True, False])
def test_a_worker_or_a_run_of_nothing_writes_nothing(tmp_path: Path, in_worker: bool) -> None:
    weigher = Weigher(in_worker, tmp_path / "slow.txt")
    if in_worker:
        weigher.pytest_runtest_logreport(report("tests/a.py::test_is", 9.0))
    weigher.pytest_sessionfinish()
    assert not (tmp_path / "slow.txt").exists()


@pytest.mark.slow
def test_a_test_that_works_long_is_found_and_left_out(tmp_path: Path) -> None:
    """The real thing: a project with a test that computes, one that only waits and one that lets another compute."""
    for name in ("quick", "judging", "examples"):
        (tmp_path / "tests").mkdir(exist_ok=True)
        (tmp_path / "tests" / f"{name}.py").write_bytes((ROOT / "tests" / f"{name}.py").read_bytes())
    (tmp_path / "tests" / "conftest.py").write_bytes((ROOT / "tests" / "conftest.py").read_bytes())
    (tmp_path / "tests" / "slow.txt").write_text(HEAD, "utf-8")
    (tmp_path / "pytest.ini").write_text(
        "[pytest]\nmarkers = slow\npythonpath = .\naddopts = --import-mode=importlib\n"
    )
    (tmp_path / "tests" / "test_some.py").write_text(
        "import subprocess, sys, time\n"
        f"WORK = 'import time; end = time.process_time() + {2 * LIMIT}\\nwhile time.process_time() < end: pass'\n"
        "def test_works(): exec(WORK)\n"
        f"def test_waits(): time.sleep({2 * LIMIT})\n"
        "def test_lets_work(): subprocess.run([sys.executable, '-c', WORK], check=True)\n"
        "def test_is_quick(): pass\n",
        "utf-8",
    )
    run = (sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-n0", "-m", "not slow")
    first = subprocess.run((*run, "--weigh"), cwd=tmp_path, capture_output=True, text=True, check=True)
    assert "4 passed" in first.stdout
    assert sorted(listed(tmp_path / "tests" / "slow.txt")) == [
        "tests/test_some.py::test_lets_work",
        "tests/test_some.py::test_works",
    ]
    second = subprocess.run(run, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert re.search("2 passed, 2 deselected", second.stdout)


def test_properties_draw_their_share_of_the_loaded_profile() -> None:
    share = hypothesis.settings().max_examples / 100
    assert share in (0.2, 1.0)  # of the quick loop, of all tests
    assert examples().max_examples == 100 * share
    assert examples(400).max_examples == 400 * share
    assert examples(5).max_examples == 5
    assert examples(12).max_examples == (12 if share == 1.0 else 5)
    assert examples(2, deadline=None).max_examples == 2
