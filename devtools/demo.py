"""What ./dev run shows: one line for each demo job, then the whole plan of the first."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path

from devtools.steps import Runner, StepError, say, step

FIRST = "kestrel-float.job.toml"


def jobs(root: Path) -> list[Path]:
    """The demo jobs, relative to root, the first one first."""
    found = sorted((root / "examples").glob("*.job.toml"), key=lambda path: (path.name != FIRST, path.name))
    return [path.relative_to(root) for path in found]


def title(path: Path) -> str:
    """The title a job file gives itself; raises StepError when it is no TOML file with one."""
    try:
        return str(tomllib.loads(path.read_text(encoding="utf-8"))["job"]["title"])
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError) as error:
        raise StepError(f"{path.name} is not a job file with a title: {error}.") from error


def run(root: Path, runner: Runner, python: str, chosen: Sequence[str]) -> None:
    """List the demo jobs and plan the first, or plan the job files named; raises StepError."""
    demo = jobs(root)
    if not demo and not chosen:
        raise StepError("there is no demo job in examples/ (*.job.toml); name a job file: ./dev run FILE.")
    if not chosen:
        say("Demo jobs:")
        for path in demo:
            say(f"  {path.name.removesuffix('.job.toml'):<20} {title(root / path)}")
    for job in chosen or [str(demo[0])]:
        step(runner, f"setwright plan {job}", (str(Path(python).with_name("setwright")), "plan", job))
