"""The other libraries as the benchmark asks them: a process in their own environment, a line for every note."""

from __future__ import annotations

import json
import os
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from devtools import rivals

Array = NDArray[np.float64]
Range = tuple[float, float]  # Hz, lowest and highest
Said = dict[str, tuple[float | None, float]]  # by way: pitch [Hz] and processor time [s]

ROOT = Path(__file__).resolve().parent.parent
PLAIN = rivals.ONE_THREAD
MAKE = "./dev bench listening --rivals makes their environment"


class Rivals:
    """A process of the rivals, started when it is first asked."""

    def __init__(self, python: str | None = None) -> None:
        """Nothing is started yet.

        Args:
            python: interpreter of their environment; None: the usual one.
        """
        self.python = python or rivals.python_of(ROOT)
        self.process: subprocess.Popen[str] | None = None

    def _line(self) -> str:
        assert self.process is not None
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            raise ChildProcessError("the process of the rivals has ended; run it by hand to see why.")
        return line

    def ask(self, samples: Array, rate: float, ranges: Sequence[Range], ways: Sequence[str] = ()) -> list[Said]:
        """One note by every way.

        Args:
            samples: (N) of the note, from after its attack on [1].
            rate: [Hz].
            ranges: to look in, one after another.
            ways: which; none: all.
        Returns: what was said, for each range.
        Raises: ChildProcessError: when the process has ended.
        """
        if self.process is None:
            self.process = subprocess.Popen(
                [self.python, "-m", rivals.ANSWER], cwd=ROOT, env=os.environ | PLAIN, text=True,
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            self._line()
        assert self.process.stdin is not None
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "note.npy"
            np.save(path, samples)
            asked = {"file": str(path), "rate": round(rate), "ranges": list(ranges), "ways": list(ways)}
            self.process.stdin.write(json.dumps(asked) + "\n")
            self.process.stdin.flush()
            answered = json.loads(self._line())
        return [{way: (hertz, cost) for way, (hertz, cost) in said.items()} for said in answered]

    def close(self) -> None:
        """End the process."""
        if self.process is not None:
            assert self.process.stdin is not None
            assert self.process.stdout is not None
            self.process.stdin.close()
            self.process.wait()
            self.process.stdout.close()
            self.process = None


_here = Rivals()


def ask(samples: Array, rate: float, ranges: Sequence[Range], ways: Sequence[str] = ()) -> list[Said]:
    """As `Rivals.ask`, of the one process this one has."""
    return _here.ask(samples, rate, ranges, ways)


def usable(root: Path = ROOT) -> tuple[list[str], list[str]]:
    """Which ways can be asked, and a line for each that cannot.

    Args:
        root: of the project.
    Returns: names, and lines.
    """
    if not rivals.is_current(root):
        return [], [f"Other libraries are left out: {MAKE}."]
    asked = [rivals.python_of(root), "-m", rivals.ANSWER, "--there"]
    answered = subprocess.run(asked, cwd=ROOT, env=os.environ | PLAIN, text=True, capture_output=True, check=True)
    can: dict[str, str] = json.loads(answered.stdout.splitlines()[-1])
    built = rivals.left_out(root)
    why = {name: built.get(name.split()[0], trouble) for name, trouble in can.items() if trouble}
    return [name for name, trouble in can.items() if not trouble], [
        f"{name}: not built here: {trouble}" for name, trouble in why.items()
    ]
