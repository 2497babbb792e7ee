"""What ./dev run shows: one line for each demo job, then the whole plan of the first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from devtools.steps import Runner, StepError, say, step

FIRST = "kestrel-float.job.toml"


def jobs(root: Path) -> list[Path]:
    """The demo jobs, relative to root, the first one first."""
    found = sorted((root / "examples").glob("*.job.toml"), key=lambda path: (path.name != FIRST, path.name))
    return [path.relative_to(root) for path in found]


def headline(text: str) -> str:
    """What a job file says about itself: the first line of its opening comment, else nothing."""
    match = re.match(r"\s*#\s*(.+)", text)
    return match.group(1).strip() if match else ""


def run(root: Path, runner: Runner, python: str, chosen: Sequence[str]) -> None:
    """List the demo jobs and plan the first, or plan the job files named; raises StepError."""
    demo = jobs(root)
    if not demo and not chosen:
        raise StepError("there is no demo job in examples/ (*.job.toml); name a job file: ./dev run FILE.")
    if not chosen:
        say("Demo jobs:")
        for path in demo:
            about = headline((root / path).read_text(encoding="utf-8"))
            say(f"  {path.name.removesuffix('.job.toml'):<20} {about}".rstrip())
    for job in chosen or [str(demo[0])]:
        step(runner, f"setwright plan {job}", (str(Path(python).with_name("setwright")), "plan", job))
