"""A floating job in the middle of its work: hardware done, strings up on the wedge, the claw turned, all heard."""

from __future__ import annotations

import shutil
from pathlib import Path

from setwright.bench.journals import keep

EXAMPLES = Path(__file__).parents[2] / "examples"
LINES = (
    "did strip shim in .030 in", "did pivot up 2 turns", "did springs 3", "did step saddles",
    *(f"read pitch string {i} = -300 c ± 0.5 c" for i in range(1, 7)), "read rear gap = 0 mm ± 0.1 mm",
    "did wedge in at 2.60 mm",
    *(f"did tune string {i} to {f} Hz, heard {f} Hz ± 0.5 c"
      for i, f in ((6, 83.26), (5, 110.63), (4, 147.33), (3, 196.57))),
    "read pitch string 4 = 3.3 c ± 0.5 c", "read pitch string 5 = 3.9 c ± 0.5 c",
    "read pitch string 6 = 5.3 c ± 0.5 c", "did claw out 3.594 turns", "read pitch string 3 = -72.3 c ± 0.5 c",
    "read pitch string 4 = -46.1 c ± 0.5 c", "read pitch string 5 = -56.1 c ± 0.5 c",
    "read pitch string 6 = -74.1 c ± 0.5 c",
)  # fmt: skip


def job_midway(folder: Path) -> Path:
    """Put the job and its journal into a folder.

    Args:
        folder: an empty one.
    Returns: path of the job file.
    """
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, folder / name)
    job = folder / "kestrel-float.job.toml"
    for line in LINES:
        keep(str(job), line.split())
    return job
