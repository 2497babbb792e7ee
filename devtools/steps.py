"""Steps: named commands that are run one after the other, and what a failing one says."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol


class StepError(Exception):
    """A step failed; the message is one sentence for the terminal, `code` is the exit code of ./dev."""

    def __init__(self, message: str, code: int = 1) -> None:
        super().__init__(message)
        self.code = code


class Runner(Protocol):
    """Runs one command and returns its exit code; tests put a recorder in its place."""

    def __call__(self, args: Sequence[str], env: Mapping[str, str] | None = None) -> int: ...


@dataclass(frozen=True)
class Shell:
    """The real runner: the command runs in the project's folder, its output goes straight to the terminal."""

    root: Path

    def __call__(self, args: Sequence[str], env: Mapping[str, str] | None = None) -> int:
        try:
            return subprocess.run(
                args, cwd=self.root, env=clean_environment(os.environ, env or {}), check=False
            ).returncode
        except OSError as error:
            say(f"{args[0]}: {error.strerror}")
            return 127


def clean_environment(inherited: Mapping[str, str], extra: Mapping[str, str]) -> dict[str, str]:
    """The inherited environment without what would lead Python to other packages than those of the lock.

    One thread for linear algebra: all matrices here are small, and threads that wait for each other spend a core.
    """
    kept = {name: value for name, value in inherited.items() if name not in ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV")}
    return kept | {"PYTHONNOUSERSITE": "1", "OPENBLAS_NUM_THREADS": "1"} | dict(extra)


def say(text: str) -> None:
    """Print one line now, before the output of the next command."""
    print(text, flush=True)


def step(runner: Runner, name: str, args: Sequence[str], env: Mapping[str, str] | None = None) -> None:
    """Announce and run a command that must succeed; raises StepError with its exit code."""
    say(f"== {name}")
    code = runner(args, env)
    if code:
        raise StepError(f"{name} failed (exit code {code}).", code)


def all_steps(runner: Runner, steps: Sequence[tuple[str, Sequence[str]]]) -> None:
    """Run every step even when an earlier one failed, then raise one StepError that names those that failed."""
    failed = []
    for name, args in steps:
        say(f"== {name}")
        if runner(args):
            failed.append(name)
    if failed:
        raise StepError(f"{len(failed)} of {len(steps)} checks failed: {', '.join(failed)}.")
    say(f"== all {len(steps)} checks passed")
