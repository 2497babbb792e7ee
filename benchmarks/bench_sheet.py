"""Time to the set-up sheet as PDF: in a fresh process, and once more in one that is warm.

    ./dev bench sheet

Wanted are 1.0 s cold and 50 ms warm. The whole sheet has three parts on three pages: the owner's, the shop's with forty
readings, the tag. Warm, "visits" prints every visit of the invented shop in turn, each once, as a bench would. "Worst"
is made for the purpose: every word and every figure differs from one sheet to the next, so that nothing of the last one
can be kept; "again" is the same sheet with another owner, as when a line was mended. The processor's own time is shown
beside that of the clock, which other work on the machine lengthens.
"""

from __future__ import annotations

import os
import re
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

import pytest

from setwright.bench.paper import Desk, sheet_of_job
from setwright.sheets.sheet import PARTS, Mark, Part, SheetData, render

ROOT = Path(__file__).parents[1]
JOB, JOURNAL = ROOT / "examples/kestrel-float.job.toml", ROOT / "examples/kestrel-finished.journal.txt"
COLD, WARM = 1.0, 0.05  # s, wanted
RUNS = 11
WORDS = (
    "heron", "wader", "slot", "spring", "river", "maple", "cedar", "bridge", "plate", "north", "amber", "tuner", "shop",
)  # fmt: skip
DESK = Desk("Weir Lane Bench", ("3 Weir Lane", "Millford"), link="https://bench.example/visit/26-117")
COMMAND = "from setwright.cli.main import main; main()"
RENDER = (
    "import pickle, sys\nfrom setwright.sheets.sheet import render\n"
    "data = pickle.load(open(sys.argv[1], 'rb'))\nopen(sys.argv[2], 'wb').write(render(data))"
)


def shown(name: str, clock: list[float], work: list[float], wanted: float, capsys: Any) -> None:
    """Print medians and least times of some runs, the first left out."""
    times = [f"{statistics.median(some[1:]):.3f} s (least {min(some[1:]):.3f})" for some in (clock, work)]
    with capsys.disabled():
        print(f"\n{name}, median of {len(clock) - 1}: {times[0]} by the clock, {times[1]} of the processor; "
              f"wanted {wanted} s")  # fmt: skip


def cold(words: list[str], folder: Path) -> tuple[list[float], list[float], Callable[[], None]]:
    """Fresh processes with compiled modules, as an installed command has them."""
    taken = {"PYTHONDONTWRITEBYTECODE", "OPENBLAS_NUM_THREADS"}
    env = {name: value for name, value in os.environ.items() if name not in taken and not name.startswith("COV")}
    env["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
    clock: list[float] = []
    work: list[float] = []

    def once() -> None:
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run([sys.executable, "-c", *words], check=True, env=env, stdout=subprocess.DEVNULL)
        clock.append(time.perf_counter() - begun)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        work.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    return clock, work, once


@pytest.mark.benchmark(group="sheet")
@pytest.mark.parametrize("more", [[], ["--no-plan"]], ids=["with its plan", "without"])
def test_sheet_as_a_fresh_process(
    benchmark: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str]
) -> None:
    save = str(tmp_path / "a.pdf")
    words = ["sheet", str(JOB), "--journal", str(JOURNAL), "--save", save, "--force", "--link", DESK.link, *more]
    clock, work, once = cold([COMMAND, *words], tmp_path)
    benchmark.pedantic(once, rounds=RUNS, warmup_rounds=1)
    shown(" ".join(["setwright sheet, fresh", *more]), clock, work, COLD, capsys)


@pytest.mark.benchmark(group="sheet")
def test_the_pdf_alone_as_a_fresh_process(benchmark: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import pickle

    kept = tmp_path / "data"
    kept.write_bytes(pickle.dumps(sheet()))
    clock, work, once = cold([RENDER, str(kept), str(tmp_path / "a.pdf")], tmp_path)
    benchmark.pedantic(once, rounds=RUNS, warmup_rounds=1)
    shown("the PDF from its data, fresh", clock, work, COLD, capsys)


@pytest.mark.benchmark(group="sheet")
@pytest.mark.parametrize("parts", [PARTS, *((part,) for part in PARTS)], ids=["all", *PARTS])
@pytest.mark.parametrize("again", [False, True], ids=["worst", "again"])
def test_the_pdf_warm(benchmark: Any, capsys: pytest.CaptureFixture[str], parts: tuple[Part, ...], again: bool) -> None:
    data, chance = sheet(), Random(7)
    clock: list[float] = []
    work: list[float] = []

    def once() -> None:
        other = data if again else varied(data, chance)
        other = replace(other, owner=f"Owner {len(clock)}", link=f"{DESK.link}/{'-'.join(parts)}/{len(clock)}")
        begun, before = time.perf_counter(), time.process_time()
        render(other, "a4", parts)
        clock.append(time.perf_counter() - begun)
        work.append(time.process_time() - before)

    benchmark.pedantic(once, rounds=4 * RUNS, warmup_rounds=3)
    shown(f"the PDF warm, {', '.join(parts)}{', again' if again else ', worst'}", clock, work, WARM, capsys)


@pytest.mark.benchmark(group="sheet")
def test_the_pdf_warm_of_visits(benchmark: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheets = sheets_of_a_shop(tmp_path)
    clock: list[float] = []
    work: list[float] = []

    def once() -> None:
        data = sheets[len(clock)]
        begun, before = time.perf_counter(), time.process_time()
        render(data)
        clock.append(time.perf_counter() - begun)
        work.append(time.process_time() - before)

    benchmark.pedantic(once, rounds=len(sheets) - 1, warmup_rounds=1)
    shown(f"the PDF warm, all parts of {len(sheets)} visits", clock, work, WARM, capsys)


def sheets_of_a_shop(folder: Path) -> list[SheetData]:
    """The sheets of all visits of an invented shop that have a reading."""
    from setwright.bench.demo_shop import make_demo
    from setwright.bench.source import InShop
    from setwright.records.overview import instruments, visits
    from setwright.records.shop import open_shop

    make_demo(str(folder / "shop"))
    with open_shop(folder / "shop") as shop, shop.reading() as work:
        ids = [visit.id for one in instruments(work) for visit in visits(work, one.id)]
    sheets = [sheet_of_job(InShop(str(folder / "shop"), one), desk=DESK, plan=False) for one in ids]
    return [one for one in sheets if one.groups]


def varied(value: Any, chance: Random, name: str = "") -> Any:
    """The same with every digit and every longer word another one, and every mark elsewhere in its slot."""
    if isinstance(value, Mark):
        return replace(value, found=chance.uniform(-4.0, 4.0), left=chance.uniform(-1.4, 1.4))
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{one.name: varied(getattr(value, one.name), chance, one.name) for one in fields(value)})
    if isinstance(value, tuple):
        return tuple(varied(one, chance, name) for one in value)
    if not isinstance(value, str) or name in ("verdict", "link"):
        return value
    text = re.sub(r"\d", lambda _: str(chance.randint(1, 9)), value)
    return " ".join(chance.choice(WORDS) if len(one) > 3 and one.isalpha() else one for one in text.split(" "))


def sheet() -> SheetData:
    """The sheet of the finished demo job."""
    return sheet_of_job(str(JOB), str(JOURNAL), DESK, plan=False)
