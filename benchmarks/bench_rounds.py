"""How many tunings, settings of the claw and minutes a floating balance takes: two people, Setwright, and the floor.

    ./dev bench rounds --count 1000
    ./dev bench rounds --count 60 --without      each hidden effect switched off in turn
    ./dev bench rounds --count 60 --mistaken     one reading or one turn of the claw wrong

Odd seeds are instruments of `practice.told`, even ones lie near benchmarks/stiff_springs.json. Two processes work. The
floor is Setwright on an instrument without hidden effects whose traits are known; two seeds in five are enough for it.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from benchmarks.calibration import Witness
from benchmarks.people import Mistaken, round_and_round, wanted, wedge_again
from benchmarks.running import parser_of, runs
from setwright.bench import guided as work
from setwright.errors import SetwrightError
from setwright.instrument.prior import Prior
from setwright.instrument.told import believed
from setwright.instrument.traits import Traits
from setwright.planning.tracking import Doubt
from setwright.practice.hidden import Hidden, Spread
from setwright.practice.instrument import Practice
from setwright.practice.told import hello

NEAR = Path(__file__).with_name("stiff_springs.json")
PEOPLE = {"round and round": round_and_round, "wedge, tune, claw": wedge_again}
SPARING = "Setwright, fewest claw settings"
WAYS = (*PEOPLE, "Setwright", SPARING, "floor")
TWO = 2  # settings of the claw
KNOWN = 1e-3  # share of the usual uncertainty left to traits that are known
STILL = 1e-4  # N m, knife edge of an instrument without friction
LAST = 6  # steps of a failure shown
MILLIMETRE = 1e-3
WRONG_TURN = 1.0


@dataclass(frozen=True)
class Run:
    """One balance."""

    seed: int
    way: str
    passed: bool
    tunings: int
    claws: int
    readings: int
    minutes: float
    peak: float  # cents over its final pitch
    gap_error: float  # m
    worst: float  # cents
    held: dict[str, tuple[int, int]]  # kind of statement: inside its 95 % band, of how many
    course: tuple[str, ...] = ()  # the last steps
    trouble: str = ""
    named: bool | None = None  # whether the one mistake made was set aside and named; None where it never came to it


@dataclass(frozen=True)
class Task:
    """What is to be run."""

    seed: int
    way: str
    without: str = ""  # a hidden effect switched off; "spread", "all"
    mistaken: str = ""  # "gap" or "claw"


def greeting(seed: int) -> dict[str, Any]:
    """First line of the line protocol of an instrument.

    Args:
        seed: odd: an instrument of our own; even: near the fixed one, every other with a new set on.
    Returns: the greeting.
    """
    if seed % 2:
        return hello(seed)
    first: dict[str, Any] = json.loads(NEAR.read_text(encoding="utf-8"))
    first["job"] = {"found": "10" if seed % 4 else "09", "wanted": "10"}
    return first


def _practice(task: Task) -> tuple[dict[str, Any], Practice]:
    first, hidden, spread = greeting(task.seed), Hidden(), Spread()
    if task.way == "floor" or task.without in ("all", "all and spread"):
        hidden = hidden.scaled(0.0)
    elif task.without and task.without != "spread":
        hidden = replace(hidden, **{task.without: 0.0})
    if task.way == "floor" or task.without in ("spread", "all and spread"):
        spread = spread.scaled(0.0)
    return first, Practice(first, task.seed, hidden, spread)


def known(traits: Traits) -> Prior:
    """Nothing of the instrument uncertain.

    Args:
        traits: nominal.
    Returns: the usual prior, a thousand times narrower.
    """
    usual = believed(traits)
    return replace(usual, covariance=usual.covariance * KNOWN**2)


def run(task: Task) -> Run:
    """One balance from greeting to verdict.

    Args:
        task: instrument and way.
    Returns: what it took.
    """
    first, practice = _practice(task)
    on: Any = practice
    if task.mistaken == "gap":
        on = Mistaken(practice, False, 1 + task.seed // 2 % 12, MILLIMETRE)
    elif task.mistaken == "claw":
        on = Mistaken(practice, True, 0, WRONG_TURN)
    witness = Witness(practice, first)
    trouble = ""
    doubts: tuple[Doubt, ...] = ()
    try:
        if task.way in PEOPLE:
            PEOPLE[task.way](wanted(first), on)
        elif task.way == "floor":
            job = replace(work.told(first), knife=STILL)
            with patch.object(work, "believed", known):
                work.guided(job, on, witness)
        else:
            job = work.wanting(work.told(first), "claw settings" if task.way == SPARING else "minutes")
            doubts = work.guided(job, on, witness).course.picture.doubts
    except (SetwrightError, ArithmeticError, ValueError, AssertionError) as error:
        trouble = f"{type(error).__name__}: {error}"
    verdict = practice.done()
    return Run(
        task.seed, task.way, verdict.passed, verdict.counts["tune"], verdict.counts["claw"], verdict.readings,
        verdict.minutes, verdict.peak_cents_above_target, verdict.gap_error, max(map(abs, verdict.cents)),
        witness.held(), () if verdict.passed else tuple(witness.course[-LAST:]), trouble, _named(task, on, doubts),
    )  # fmt: skip


def _named(task: Task, on: Any, doubts: tuple[Doubt, ...]) -> bool | None:
    """Whether the mistake is among what was set aside; None where none was made."""
    if not task.mistaken or not on.made:
        return None
    if task.mistaken == "claw":
        return any(one.kind == "turn" and one.scene == 1 for one in doubts)
    return any(one.kind == "rear gap" and abs(one.value - one.fits - MILLIMETRE) < 0.5 * MILLIMETRE for one in doubts)


def figures(some: Sequence[Run]) -> list[str]:
    """One line of the table.

    Args:
        some: runs of one way.
    Returns: cells.
    """

    def three(name: str, form: str = ".0f") -> str:
        values = [getattr(one, name) for one in some]
        return " / ".join(format(float(np.percentile(values, p)), form) for p in (50, 95, 100))

    passed = sum(one.passed for one in some)
    names = ("tunings", "claws", "readings", "minutes", "peak")
    third = f"{100.0 * sum(one.claws > TWO for one in some) / len(some):.0f} %"
    cells = [three(name) for name in names]
    return [f"{passed} of {len(some)}", *cells[:2], third, *cells[2:]]


def shares(some: Sequence[Run]) -> dict[str, tuple[int, int]]:
    """Bands that held the truth, over all runs.

    Args:
        some: runs.
    Returns: kind of statement: inside, of how many.
    """
    total: dict[str, tuple[int, int]] = {}
    for one in some:
        for kind, (inside, count) in one.held.items():
            before = total.get(kind, (0, 0))
            total[kind] = (before[0] + inside, before[1] + count)
    return total


HEAD = ("passed", "tunings", "claw settings", "more than two", "readings", "minutes", "peak [cents]")


def table(groups: dict[str, list[Run]], first: str) -> str:
    """Markdown of a table, one line for each group.

    Args:
        groups: runs by name.
        first: heading of the names.
    Returns: the text.
    """
    lines = [f"| {' | '.join((first, *HEAD))} |", "|" + " --- |" * (len(HEAD) + 1)]
    lines += [f"| {name} | {' | '.join(figures(some))} |" for name, some in groups.items() if some]
    return "\n".join(lines)


def bands(some: Sequence[Run]) -> str:
    """Markdown of the shares inside 95 % bands.

    Args:
        some: runs of Setwright.
    Returns: the text.
    """
    lines = ["| statement | inside its 95 % band | of |", "| --- | --- | --- |"]
    for kind, (inside, count) in sorted(shares(some).items()):
        lines.append(f"| {kind} | {100.0 * inside / max(count, 1):.1f} % | {count} |")
    return "\n".join(lines)


def names(groups: dict[str, list[Run]]) -> str:
    """In how many runs the mistake was named.

    Args:
        groups: runs by name.
    Returns: the text.
    """
    lines = []
    for name, some in groups.items():
        made = [one for one in some if one.named is not None]
        if made:
            lost = ", ".join(str(one.seed) for one in made if not one.named)
            lines.append(
                f"{name}: named in {sum(bool(one.named) for one in made)} of {len(made)} runs; not: {lost or '-'}"
            )
    return "\n".join(lines)


def failures(some: Sequence[Run]) -> str:
    """Every failure with the last steps of its course.

    Args:
        some: runs.
    Returns: the text.
    """
    lines = []
    for one in some:
        if not one.passed:
            lines.append(f"{one.way}, seed {one.seed}: gap {one.gap_error * 1e3:+.2f} mm, worst {one.worst:.1f} cents, "
                         f"{one.tunings} tunings, {one.claws} settings of the claw {one.trouble}")  # fmt: skip
            lines += [f"    {step}" for step in one.course]
    return "\n".join(lines)


def _usual(given: argparse.Namespace) -> tuple[list[Task], Callable[[Task], str]]:
    seeds = range(given.first, given.first + given.count)
    return [Task(seed, way) for seed in seeds for way in WAYS if way != "floor" or seed % 5 < 2], lambda t: t.way


def _without(given: argparse.Namespace) -> tuple[list[Task], Callable[[Task], str]]:
    names = ["", "spread", "all", "all and spread", *(f.name for f in fields(Hidden))]
    seeds = range(given.first, given.first + given.count)
    tasks = [Task(seed, "Setwright", without=name) for seed in seeds for name in names]
    return tasks, lambda t: t.without or "nothing"


def _mistaken(given: argparse.Namespace) -> tuple[list[Task], Callable[[Task], str]]:
    seeds = range(given.first, given.first + given.count)
    tasks = [Task(seed, "Setwright", mistaken=name) for seed in seeds for name in ("", "gap", "claw")]
    words = {"": "nothing wrong", "gap": "one gap 1 mm too large", "claw": "first claw setting one turn too far in"}
    return tasks, lambda t: words[t.mistaken]


def main(arguments: Sequence[str]) -> int:
    """Run and print.

    Args:
        arguments: of the command line.
    Returns: 0.
    """
    parser = parser_of("rounds", 1000, 1, "instruments")
    parser.add_argument("--without", action="store_true", help="each hidden effect switched off in turn")
    parser.add_argument("--mistaken", action="store_true", help="one reading or one turn wrong")
    parser.add_argument("--save", type=Path, help="every run as a JSON line")
    given = parser.parse_args(arguments)
    tasks, named = (_without if given.without else _mistaken if given.mistaken else _usual)(given)
    groups: dict[str, list[Run]] = {}
    begun = time.monotonic()
    for task, one in zip(tasks, runs(run, tasks, given.minutes), strict=False):
        groups.setdefault(named(task), []).append(one)
        if given.save:
            with given.save.open("a", encoding="utf-8") as out:
                out.write(json.dumps({"group": named(task), **asdict(one)}) + "\n")
    most = max(len(some) for some in groups.values())
    print(f"{most} instruments from seed {given.first}, {(time.monotonic() - begun) / 60.0:.1f} minutes; "
          "median / 95 % / most.\n")  # fmt: skip
    print(table(groups, "switched off" if given.without else "wrong" if given.mistaken else "way"), "\n")
    if not given.without:
        mine = [groups[name] for name in ("Setwright", SPARING) if name in groups]
        for each in mine or [[one for some in groups.values() for one in some]]:
            print(bands(each), "\n")
    if given.mistaken:
        print(names(groups), "\n")
    print(failures([one for name, some in groups.items() if name not in PEOPLE for one in some]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
