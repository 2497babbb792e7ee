"""What the first answer of the bench app waits for."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.slow
def test_the_first_page_loads_no_numbers() -> None:
    """Numpy and the modules that need it are a third of the time to the first answer."""
    code = (
        "import sys, setwright.web.serving, setwright.web.app, setwright.web.day;"
        "late = ('numpy', 'setwright.instrument.jobfile', 'setwright.planning');"
        "print([name for name in late if name in sys.modules])"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.splitlines() == ["[]"]
