"""The bench app on a port of its own, as `setwright bench` serves it, and Debian's Chromium."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

CHROMIUM = shutil.which("chromium")
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+/")


@contextmanager
def served(shop: str, state: Path) -> Iterator[str]:
    """Serve a shop in a process of its own.

    Args:
        shop: folder.
        state: folder for the key of the bench.
    Returns: the address, as the command prints it.
    """
    environment = {**os.environ, "XDG_STATE_HOME": str(state), "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
    command = [str(Path(sys.executable).with_name("setwright")), "bench", "--shop", shop, "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:
        try:
            assert process.stdout is not None
            found = ADDRESS.search(process.stdout.readline())
            assert found, "the bench did not print its address"
            yield found[0].rstrip("/")
        finally:
            process.terminate()
            process.wait(10)
