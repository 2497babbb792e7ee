"""The project's own Python environment: made once from the lock, then recognised by a stamp."""

from __future__ import annotations

import fcntl
import hashlib
import importlib.util
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from devtools.steps import Runner, StepError, say, step

LOCK = "requirements/dev.txt"
STAMP = ".venv/made-from.txt"
PIP = ("-m", "pip", "--disable-pip-version-check", "--no-input")


@dataclass(frozen=True)
class Machine:
    """What of the machine decides how the environment can be made."""

    is_root: bool
    has_apt: bool
    has_ensurepip: bool
    python: str  # the interpreter that makes the environment

    @staticmethod
    def here() -> Machine:
        """This machine."""
        return Machine(
            is_root=os.geteuid() == 0,
            has_apt=shutil.which("apt-get") is not None,
            has_ensurepip=importlib.util.find_spec("ensurepip") is not None,
            python=sys.executable,
        )


def fingerprint(root: Path) -> str:
    """A hash of all that decides what the environment holds: lock, project file, place and Python version."""
    digest = hashlib.sha256()
    for part in (LOCK, "pyproject.toml"):
        digest.update((root / part).read_bytes() + b"\0")
    digest.update(f"{root} {sys.version_info[:2]}".encode())
    return digest.hexdigest()


def python_of(root: Path) -> str:
    """The path of the environment's interpreter."""
    return str(root / ".venv" / "bin" / "python")


def is_current(root: Path) -> bool:
    """Whether the environment was made completely from today's lock and project file."""
    stamp = root / STAMP
    return stamp.is_file() and Path(python_of(root)).exists() and stamp.read_text().strip() == fingerprint(root)


def ensure(root: Path, runner: Runner, machine: Machine) -> str:
    """Make or renew the environment if needed and return its interpreter; raises StepError with what to do."""
    if is_current(root):
        return python_of(root)
    with one_at_a_time(root):
        if not is_current(root):
            _make(root, runner, machine)
    return python_of(root)


@contextmanager
def one_at_a_time(root: Path) -> Iterator[None]:
    """Only one process makes an environment; the others wait."""
    handle = os.open(root / "requirements", os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _make(root: Path, runner: Runner, machine: Machine) -> None:
    python = python_of(root)
    venv(root, runner, machine, ".venv")
    (root / STAMP).unlink(missing_ok=True)
    locked = (python, *PIP, "install", "-qq", "--require-hashes", "--no-deps", "-r", LOCK)
    step(runner, "set up: packages of the lock (half a minute)", locked)
    own = (python, *PIP, "install", "-qq", "--no-deps", "--no-build-isolation", "-e", ".")
    step(runner, "set up: setwright itself", own)
    step(runner, "set up: whether the lock is whole", (python, *PIP, "check"))
    (root / STAMP).write_text(fingerprint(root) + "\n")


def venv(root: Path, runner: Runner, machine: Machine, folder: str) -> None:
    """Make an empty environment in a folder, unless one of this Python is there; raises StepError."""
    python = str(root / folder / "bin" / "python")
    fits = (python, "-c", f"import pip, sys; sys.exit(sys.version_info[:2] != {sys.version_info[:2]})")
    if not Path(python).exists() or runner(fits):
        _need_venv(runner, machine)
        step(runner, f"set up: environment {folder}", (machine.python, "-m", "venv", "--clear", str(root / folder)))


def _need_venv(runner: Runner, machine: Machine) -> None:
    if machine.has_ensurepip:
        return
    if not (machine.is_root and machine.has_apt):
        raise StepError("Python's venv module is not complete here: install the package python3-venv, then try again.")
    say("Python's venv module is not complete here; installing python3-venv.")
    apt_install(runner, "python3-venv")


def apt_install(runner: Runner, *packages: str) -> None:
    """Install Debian packages as root, without questions; raises StepError."""
    env = {"DEBIAN_FRONTEND": "noninteractive"}
    step(runner, "set up: package lists of Debian", ("apt-get", "update", "-qq"), env)
    install = ("apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages)
    step(runner, f"set up: {', '.join(packages)}", install, env)
