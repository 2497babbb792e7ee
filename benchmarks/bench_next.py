"""Time to the next step: `setwright next` as a fresh process, and one decision in process late in a job.

    ./dev bench next

The process runs with compiled modules, as an installed command does; the processor's own time is shown beside that of
the clock, which other work on the machine lengthens. Asked is with nothing kept, after one more entry than was kept (as
on the bench, step after step), and with all of it kept.
"""

from __future__ import annotations

import os
import resource
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from setwright.bench.guided import as_found, done_step, told
from setwright.planning import course
from setwright.planning.guide import next_step
from setwright.practice.instrument import Practice
from setwright.practice.told import hello
from tests.cli.midway import job_midway

RUNS = 15
SEEDS, LATE = range(6), 14  # scenes from which a job is late


@pytest.mark.benchmark(group="next")
@pytest.mark.parametrize("case", ["nothing kept", "one more entry", "asked again"])
def test_next_as_a_fresh_process(benchmark: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], case: str) -> None:
    job = job_midway(tmp_path)
    journal, kept = tmp_path / "kestrel-float.journal.txt", tmp_path / "kept"
    whole = journal.read_text()
    before = whole[: whole.rstrip().rindex("\n") + 1] if case == "one more entry" else whole
    words = [sys.executable, "-c", "from setwright.cli.main import main; main()", "next", str(job), "--json"]
    taken = {"PYTHONDONTWRITEBYTECODE", "OPENBLAS_NUM_THREADS"}
    env = {name: value for name, value in os.environ.items() if name not in taken and not name.startswith("COV")}
    env |= {"PYTHONPYCACHEPREFIX": str(tmp_path / "compiled"), "SETWRIGHT_CACHE": str(kept)}
    clock, work, answers = [], [], set()

    def asked() -> None:
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        answers.add(subprocess.run(words, check=True, env=env, stdout=subprocess.PIPE).stdout)
        clock.append(time.perf_counter() - begun)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        work.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    def prepared() -> None:
        shutil.rmtree(kept, ignore_errors=True)
        if case != "nothing kept":
            journal.write_text(before)
            subprocess.run(words, check=True, env=env, stdout=subprocess.DEVNULL)
            journal.write_text(whole)

    benchmark.pedantic(asked, setup=prepared, rounds=RUNS, warmup_rounds=1)
    assert len(answers) == 1
    shown = [f"{statistics.median(some[1:]):.3f} s (least {min(some[1:]):.3f})" for some in (clock, work)]
    with capsys.disabled():
        print(
            f"\nsetwright next, fresh, {case}, median of {RUNS}: {shown[0]} by the clock, {shown[1]} of the processor"
        )


def decisions() -> dict[int, list[float]]:
    """Processor seconds of taking readings in and deciding the next step, by the number of scenes."""
    spent: dict[int, list[float]] = {}
    taking = [0.0]
    learn = course.taken_in

    def timed(*given: Any, **more: Any) -> course.Course:
        begun = time.process_time()
        after = learn(*given, **more)
        taking[0] = time.process_time() - begun
        return after

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(course, "taken_in", timed)
        for seed in SEEDS:
            first = hello(seed)
            job, on = told(first), Practice(first, seed)
            now, advice = as_found(job, on), None
            while advice is None or advice.do != "done":
                begun = time.process_time()
                advice = next_step(now)
                spent.setdefault(len(now.picture.scenes), []).append(taking[0] + time.process_time() - begun)
                taking[0] = 0.0
                now = done_step(job, on, now, advice) if advice.do != "done" else now
    return spent


@pytest.mark.benchmark(group="next")
def test_one_decision_late_in_a_job(benchmark: Any, capsys: pytest.CaptureFixture[str]) -> None:
    spent = benchmark.pedantic(decisions, rounds=1)
    late = [1e3 * one for scenes, some in spent.items() if scenes >= LATE for one in some]
    with capsys.disabled():
        print(
            f"\nreadings taken in and next step, from scene {LATE} of up to {max(spent)} on: "
            f"median {statistics.median(late):.1f} ms of {len(late)}, most {max(late):.1f} ms"
        )
