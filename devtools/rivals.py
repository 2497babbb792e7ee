"""The environment of the libraries the benchmark of listening is compared with: apart from the project's own.

It is made when it is asked for, from a lock of its own. A library that does not build is left out, and why is kept.
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
from pathlib import Path

from devtools.environment import PIP, Machine, one_at_a_time, venv
from devtools.steps import Runner, say, step

LOCK = "requirements/rivals.txt"
FOLDER = ".venv-rivals"
STAMP = f"{FOLDER}/made-from.txt"
LEFT_OUT = f"{FOLDER}/left-out.json"
ANSWER = "benchmarks.rivals_answer"
ONE_THREAD = {"NUMBA_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
LIBRARIES = ("aubio", "librosa", "praat-parselmouth", "pyworld")  # some are built from source; the rest must install


def python_of(root: Path) -> str:
    """The path of the environment's interpreter."""
    return str(root / FOLDER / "bin" / "python")


def fingerprint(root: Path) -> str:
    """A hash of all that decides what the environment holds: lock, place and Python version."""
    place = f"\0{root} {sys.version_info[:2]}".encode()
    return hashlib.sha256((root / LOCK).read_bytes() + place).hexdigest()


def is_current(root: Path) -> bool:
    """Whether the environment was made from today's lock."""
    stamp = root / STAMP
    return stamp.is_file() and Path(python_of(root)).exists() and stamp.read_text().strip() == fingerprint(root)


def left_out(root: Path) -> dict[str, str]:
    """Libraries that did not build here, with the reason in one line."""
    kept = root / LEFT_OUT
    found: dict[str, str] = json.loads(kept.read_text(encoding="utf-8")) if kept.is_file() else {}
    return found


def ensure(root: Path, runner: Runner, machine: Machine) -> None:
    """Make or renew the environment if needed; raises StepError with what to do."""
    if is_current(root):
        return
    with one_at_a_time(root):
        if not is_current(root):
            _make(root, runner, machine)


def pieces(lock: str) -> dict[str, str]:
    """What a lock says of each package: its pin and hashes, by name."""
    blocks = re.split(r"^(?=[\w.-]+==)", "\n".join(line for line in lock.splitlines() if line[:1] != "#"), flags=re.M)
    return {block.split("==")[0]: block for block in blocks if "==" in block}


def _make(root: Path, runner: Runner, machine: Machine) -> None:
    venv(root, runner, machine, FOLDER)
    (root / STAMP).unlink(missing_ok=True)
    locked = pieces((root / LOCK).read_text(encoding="utf-8"))
    rest = _written(root, "rest", "".join(block for name, block in locked.items() if name not in LIBRARIES))
    step(runner, "set up: what the rivals need (a minute)", (python_of(root), *PIP, "install", "-qq", *_OPTIONS, rest))
    missing = {}
    for name in LIBRARIES:
        say(f"== set up: {name}")
        log = root / FOLDER / f"{name}.log"
        log.unlink(missing_ok=True)
        own = (*_OPTIONS, _written(root, name, locked[name]), "--log", str(log))
        if runner((python_of(root), *PIP, "install", *_QUIETLY, *own)):
            missing[name] = _reason(log)
            say(f"-- {name} is left out: {missing[name]}")
    (root / LEFT_OUT).write_text(json.dumps(missing), encoding="utf-8")
    step(runner, "set up: what compiles itself when first used", (python_of(root), "-m", ANSWER, "--warm"), ONE_THREAD)
    (root / STAMP).write_text(fingerprint(root) + "\n")


_OPTIONS = ("--require-hashes", "--no-deps", "-r")
_QUIETLY = ("-qqq", "--progress-bar", "off", "--no-build-isolation")


def _written(root: Path, name: str, text: str) -> str:
    path = root / FOLDER / f"{name}.txt"
    path.write_text(text + "\n", encoding="utf-8")
    return str(path)


def _reason(log: Path) -> str:
    """The last line of an installer's log that tells of an error."""
    lines = log.read_text(encoding="utf-8", errors="replace").splitlines() if log.is_file() else []
    told = [line.split(" ", 1)[-1].strip() for line in lines if "error:" in line.lower()]
    return told[-1] if told else "the installer says no more"
