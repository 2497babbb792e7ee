"""Programs from Debian that some tests drive: a browser, a database server."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from devtools.environment import Machine, apt_install
from devtools.steps import Runner, say


@dataclass(frozen=True)
class Need:
    """Tests in `folder` drive a program that Debian's `package` brings."""

    folder: str
    package: str
    present: Callable[[], bool]


def _has_chromium() -> bool:
    return shutil.which("chromium") is not None


def _has_postgresql() -> bool:
    return any(Path("/usr/lib/postgresql").glob("*/bin/postgres"))


NEEDS = (
    Need("tests/browser", "chromium", _has_chromium),
    Need("tests/records", "postgresql", _has_postgresql),
)


def provide(root: Path, runner: Runner, machine: Machine, needs: tuple[Need, ...] = NEEDS) -> None:
    """Install what existing test folders lack, or say which tests will be skipped and why."""
    missing = [need for need in needs if any((root / need.folder).rglob("test_*.py")) and not need.present()]
    if missing and machine.is_root and machine.has_apt:
        apt_install(runner, *(need.package for need in missing))
        return
    for need in missing:
        say(f"-- tests that need {need.package} in {need.folder} will be skipped: it is not installed")
        say(f"   (as root: apt-get install {need.package})")
