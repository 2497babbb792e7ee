"""What ./dev run shows: a line for each demo job, the whole plan of the first, the invented shop in the browser."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path

from devtools.steps import Runner, StepError, say, step

FIRST = "kestrel-float.job.toml"
SERVE = "--serve"
SHOP = ".demo-shop"  # what is done in it stays; remove the folder for a fresh one


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


def run(root: Path, runner: Runner, python: str, chosen: Sequence[str], terminal: bool = False) -> None:
    """List the demo jobs and plan the first, or plan the job files named; raises StepError.

    On a terminal, or with --serve (what follows it goes to setwright bench), the invented shop is opened at the end.
    """
    serve = SERVE in chosen
    options = chosen[chosen.index(SERVE) + 1 :] if serve else ()
    named = chosen[: chosen.index(SERVE)] if serve else chosen
    demo = jobs(root)
    if not demo and not named:
        raise StepError("there is no demo job in examples/ (*.job.toml); name a job file: ./dev run FILE.")
    if not named:
        say("Demo jobs:")
        for path in demo:
            say(f"  {path.name.removesuffix('.job.toml'):<20} {title(root / path)}")
    setwright = str(Path(python).with_name("setwright"))
    for job in named or [str(demo[0])]:
        step(runner, f"setwright plan {job}", (setwright, "plan", job))
    if serve or (terminal and not named):
        open_shop(root, runner, setwright, options)


def open_shop(root: Path, runner: Runner, setwright: str, options: Sequence[str]) -> None:
    """Make the invented shop where there is none yet, and open it in the browser's reach; raises StepError."""
    if (root / SHOP).exists():
        step(runner, "the invented shop: its tables", (setwright, "shop", "upgrade", "--shop", SHOP))
    else:
        step(runner, "the invented shop", (setwright, "shop", "demo", SHOP))
    step(runner, f"setwright bench --shop {SHOP}", (setwright, "bench", "--shop", SHOP, *options))
