"""A shop for the lines the docs show: one instrument, a closed visit held to a house specification, an open one."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from setwright.metrology.reading import Convention, Place
from setwright.records import specifications
from setwright.records.edits import edit
from setwright.records.jobs import JobFiles, add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.shop import new_shop

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
GAP = specifications.Item("rear gap", Place(), Convention(), "length", 2.6e-3, 2.3e-3, 2.9e-3, "mm", "2.6 ± 0.3 mm")
RELIEF = "read relief held at 1 and 17, read at 8 ="


def made(at: Path) -> tuple[str, str]:
    """Make it.

    Args:
        at: a new folder.
    Returns: ids of the instrument and of its open visit.
    """
    names = ("kestrel-float.job.toml", "kestrel.instrument.toml")
    job, instrument = ((EXAMPLES / name).read_bytes() for name in names)
    files = JobFiles(names[0], job, names[1], instrument, "kestrel-float.journal.txt")
    heights = [
        f"{who}: read string height string {s} at fret 12 = {1.5 + 0.1 * s + off + 0.01 * trial:.2f} mm"
        for trial in (0, 1) for who, off in (("Ada", 0.0), ("Bo", 0.03)) for s in range(1, 7)
    ]  # fmt: skip
    with new_shop(at, "Weir Lane Bench") as shop, shop.writing("Bo") as work:
        house = specifications.specify(work, "house", [GAP])
        homes = []
        for day, lines, state in (
            ("2025-01-15", ["read rear gap = 3.2 mm", f"{RELIEF} .010 in", "did claw in 1/2 turn",
                            "read rear gap = 2.6 mm"], "closed"),
            ("2025-07-15", ["read rear gap = 3.0 mm", f"{RELIEF} .014 in", *heights], "open"),
        ):  # fmt: skip
            visit = add_job(work, files, "Ada Lark", kind="floating").visit
            when = datetime.fromisoformat(f"{day} 09:00")
            for i, line in enumerate(lines):
                who, _, words = line.rpartition(": ")
                verb, text = words.split(" ", 1)
                append(work, visit.id, parse(verb, text, when + timedelta(minutes=3 * i), who=who))
            homes.append(edit(work, visit, came=f"{day} 09:00:00", specification=house.id, state=state))
    return homes[-1].instrument, homes[-1].id
