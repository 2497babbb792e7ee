"""The commands of ./dev."""

from __future__ import annotations

import argparse
import filecmp
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from devtools import demo, environment, programs, rivals
from devtools.steps import Runner, Shell, StepError, all_steps, say, step

ROOT = Path(__file__).resolve().parent.parent
VALIDATION = "docs/validation.md"
BRIEF = ("--quiet", "--output-format", "concise")  # one line for each finding
FULL_TEST = ("--cov", "--cov-branch", "--cov-report=term-missing:skip-covered", "--cov-fail-under=95")
# The main index alone decides the lock; what this machine may add to it stays out.
LOCK_ENV = {"PIP_EXTRA_INDEX_URL": "", "PIP_FIND_LINKS": "", "CUSTOM_COMPILE_COMMAND": "./dev lock"}
# Compiled tests are kept even where the user keeps none: it takes each process 15 s to make them.
KEPT = {"PYTHONDONTWRITEBYTECODE": ""}
LOCKS = ("run", "dev", "rivals")
TABLES = ("rounds", "listening", "exchange", "shop", "ear", "pages")  # benchmarks that print a table of their own
LOCK_OPTIONS = (
    "--quiet",
    "--generate-hashes",
    "--allow-unsafe",
    "--strip-extras",
    "--upgrade",
    "--no-config",
    "--no-emit-index-url",
    "--no-emit-find-links",
    "--no-emit-trusted-host",
)


@dataclass(frozen=True)
class Call:
    """One call of ./dev: where, how commands run, on what machine, with which further arguments."""

    root: Path
    runner: Runner
    machine: environment.Machine
    rest: Sequence[str]

    def python(self) -> str:
        """The interpreter of the project's environment, made first if need be."""
        return environment.ensure(self.root, self.runner, self.machine)


def run(call: Call) -> None:
    """plan the demo jobs (or the job files named), then open the demo shop: on a terminal, or with --serve"""
    python = call.python()
    demo.run(call.root, call.runner, python, call.rest, sys.stdout.isatty())


def test(call: Call) -> None:
    """all tests with coverage; --quick: under two minutes; the rest goes to pytest"""
    python = call.python()
    quick = "--quick" in call.rest
    extra = [word for word in call.rest if word != "--quick"]
    command = [python, "-m", "pytest", "-n", "2"]
    if quick:
        command += ["-m", "not slow", "--dist", "loadfile"]  # what a file prepares is prepared by one process
    elif extra:
        say("-- further arguments given: coverage is not judged")
    else:
        command += FULL_TEST
    programs.provide(call.root, call.runner, call.machine)
    step(call.runner, "quick tests" if quick else "tests", [*command, *extra], KEPT)


def check(call: Call) -> None:
    """format, lint, types, import direction, sizes, docs"""
    python = call.python()
    tools = Path(python).parent
    with tempfile.TemporaryDirectory() as folder:
        fresh = Path(folder) / "validation.md"
        steps: list[tuple[str, Sequence[str]]] = [
            ("format (ruff)", (str(tools / "ruff"), "format", "--check", *BRIEF, ".")),
            ("lint (ruff)", (str(tools / "ruff"), "check", *BRIEF, ".")),
            ("types (mypy)", (python, "-m", "mypy")),
            ("import direction", (str(tools / "lint-imports"), "--no-logo")),
            ("sizes", (python, "-m", "devtools.sizes")),
            ("docs", (python, "-m", "devtools.pages")),
            ("published values", _published(python, fresh)),
        ]
        problem: StepError | None = None
        try:
            all_steps(call.runner, steps)
        except StepError as error:
            problem = error
        if fresh.exists() and not filecmp.cmp(fresh, call.root / VALIDATION, shallow=False):
            stale = f"{VALIDATION} is out of date: run ./dev docs and commit it."
            problem = StepError(f"{problem} {stale}" if problem else stale)
    if problem:
        raise problem


def docs(call: Call) -> None:
    """write the generated pages anew (docs/validation.md, tables of docs/file-formats.md)"""
    python = call.python()
    step(call.runner, "fields -> tables of docs/file-formats.md", (python, "-m", "devtools.tables"))
    step(call.runner, f"published values -> {VALIDATION}", _published(python, Path(VALIDATION)))


def _published(python: str, page: Path) -> tuple[str, ...]:
    return (python, "-m", "pytest", "-q", "-n", "2", "tests/published", "--validation-page", str(page))


def lock(call: Call) -> None:
    """make the lock files in requirements/ anew, with hashes"""
    python = call.python()
    for name in LOCKS:
        source, target = f"requirements/{name}.in", f"requirements/{name}.txt"
        command = (python, "-m", "piptools", "compile", *LOCK_OPTIONS, "-o", target, source)
        step(call.runner, f"{source} -> {target}", command, LOCK_ENV)


def bench(call: Call) -> None:
    """measure speed: all benchmarks, or those whose name holds NAME; rounds: balances; listening: notes heard"""
    python = call.python()
    if call.rest[:1] and call.rest[0] in TABLES:
        name = call.rest[0]
        if name == "listening" and {"--rivals", "--write"} & set(call.rest):
            rivals.ensure(call.root, call.runner, call.machine)
        step(call.runner, name, (python, "-m", f"benchmarks.bench_{name}", *call.rest[1:]))
        return
    files = "python_files=bench_*.py test_*.py"
    command = [
        python,
        "-m",
        "pytest",
        "-q",
        "benchmarks",
        "-o",
        files,
        "--benchmark-only",
        "--benchmark-columns=min,median,rounds",
    ]
    if call.rest:
        command += ["-k", call.rest[0], *call.rest[1:]]
    step(call.runner, "benchmarks", command)


def pictures(call: Call) -> None:
    """take pictures of every page of the bench app into docs/pictures, or of pages whose name begins with NAME"""
    python = call.python()
    programs.provide(call.root, call.runner, call.machine)
    what = f"pictures of {', '.join(call.rest)}" if call.rest else "pictures of every page (some minutes)"
    step(call.runner, what, (python, "-m", "devtools.pictures", *call.rest))


COMMANDS: dict[str, Callable[[Call], None]] = {
    "run": run,
    "test": test,
    "check": check,
    "docs": docs,
    "lock": lock,
    "bench": bench,
    "pictures": pictures,
}


def parser() -> argparse.ArgumentParser:
    """The command line of ./dev."""
    lines = "\n".join(f"  ./dev {name:<8} {command.__doc__}" for name, command in COMMANDS.items())
    result = argparse.ArgumentParser(
        prog="./dev",
        usage="./dev COMMAND [ARGUMENTS]",
        description=f"Every command sets up what it needs first.\n\n{lines}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    result.add_argument("command", choices=COMMANDS, metavar="COMMAND", help=argparse.SUPPRESS)
    result.add_argument("rest", nargs=argparse.REMAINDER, metavar="ARGUMENTS", help=argparse.SUPPRESS)
    return result


def main(arguments: Sequence[str], root: Path = ROOT, runner: Runner | None = None) -> int:
    """Run one command of ./dev and return its exit code."""
    given = parser().parse_args(arguments)
    call = Call(root, runner or Shell(root), environment.Machine.here(), given.rest)
    try:
        COMMANDS[given.command](call)
    except StepError as error:
        say(f"dev: {error}")
        return error.code
    except KeyboardInterrupt:
        say("dev: stopped")
        return 130
    return 0
