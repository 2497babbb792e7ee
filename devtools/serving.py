"""The bench app in a process of its own, as `setwright bench` serves it, and Debian's Chromium to look at it with."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

CHROMIUM = shutil.which("chromium")
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)")


class Serving:
    """A bench that can be killed and started again on the same port. address: "" before it was started."""

    def __init__(self, shop: str, state: Path) -> None:
        """Nothing runs yet.

        Args:
            shop: folder or URL.
            state: folder for the key of the bench.
        """
        self.shop, self.state = shop, state
        self.port = 0
        self.address = ""
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Serve the shop; the first time on any port that is free, then on that one."""
        environment = {
            **os.environ, "XDG_STATE_HOME": str(self.state), "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"
        }  # fmt: skip
        program = str(Path(sys.executable).with_name("setwright"))
        command = [program, "bench", "--shop", self.shop, "--port", str(self.port)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        assert self.process.stdout is not None
        found = ADDRESS.search(self.process.stdout.readline())
        assert found, "the bench did not print its address"
        self.address, self.port = found[0], int(found[1])

    def kill(self) -> None:
        """End it at once, in the midst of whatever it does."""
        self._over(lambda process: process.kill())

    def stop(self) -> None:
        """Stop it as a person does."""
        self._over(lambda process: process.terminate())

    def _over(self, end: Callable[[subprocess.Popen[str]], None]) -> None:
        process, self.process = self.process, None
        if process is not None:
            end(process)
            process.wait(10)
            assert process.stdout is not None
            process.stdout.close()
