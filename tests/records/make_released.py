"""Make the database file of today's schema: python -m tests.records.make_released, once, when a schema is released.

A file that is there already is never made again: it is what that release wrote.
"""

from __future__ import annotations

import shutil
import sqlite3
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from setwright.instrument.carried import Belief, Believed
from setwright.metrology.reading import Convention, Place
from setwright.records import access, audit, devices, specifications, supplies
from setwright.records.documents import keep_belief
from setwright.records.edits import add, edit
from setwright.records.jobs import JobFiles, add_job
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.rows import Person
from setwright.records.schema import newest
from setwright.records.shop import Shop, new_shop

FOLDER = Path(__file__).parent / "released"
EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
JOURNAL = (
    b"# by hand\n2026-11-25 14:31:07  #1 by Ada  read  rear gap bass = 2.6 mm with rule 0.5 mm, at pitch, playing\r\n"
    b"2026-11-25 14:33:20  #2  read  pitch string 3 = 196.02 Hz\n2026-11-25 14:37:00  #3  strike #2: wrong string\n"
)
BELIEF = Belief(
    3,
    (Believed("springs.rate", "factor", 1_400.0, 0.05), Believed("bridge.rear_aft", "offset", 0.04, 5e-4)),
    (0.02, -1e-4), ((1e-4, 0.0), (0.0, 4e-8)),
)  # fmt: skip
SMALLEST_PAGE = 512  # bytes; keeps a file of many small tables small


def fill(shop: Shop) -> None:
    """A row or more in every table but those for contents."""
    files = JobFiles(
        "kestrel-float.job.toml", (EXAMPLES / "kestrel-float.job.toml").read_bytes(), "kestrel.instrument.toml",
        (EXAMPLES / "kestrel.instrument.toml").read_bytes(), "kestrel-float.journal.txt", JOURNAL,
    )  # fmt: skip
    item = specifications.Item(
        "rear gap", Place(), Convention(), "length", 2.4e-3, 2.15e-3, 2.65e-3, "mm", "2.4 mm ± 0.25 mm", ""
    )
    with shop.writing("Ada") as work:
        ada = add(work, Person("", 1, "Ada", "2026-01-01", None))
        access.set_role(work, ada.id, access.LEAD)
        access.keep_pin(work, ada.id, "$argon2id$ of a PIN nobody has")
        access.count_try(work, f"person {ada.id}", datetime.now(UTC), work.now)
        devices.open_pairing(work, "unused", "9999")
        devices.open_pairing(work, "used", "9999")
        bench = devices.use_pairing(work, "used", work.now, "tablet at the window", "key of the bench")
        assert bench is not None
        devices.sit_down(work, bench.id, ada.id, "key of the sitting", work.now)
        audit.note(work, "signed in", "Ada", bench.name)
        made = add_job(work, files, "Bo Lark", kind="floating")
        house = specifications.specify(work, "house", [item])
        visit = edit(work, made.visit, specification=house.id, belief=keep_belief(work, BELIEF))
        append(work, visit.id, parse("note", "buzz at fret 5, string 6", datetime(2026, 11, 25, 15)))
        part = supplies.add_part(work, "strip shim .020 in")
        supplies.move_stock(work, part.id, 10, "came")
        supplies.move_stock(work, part.id, -1, "used", visit.id)
        supplies.step_done(work, supplies.plan_step(work, visit.id, {"do": "claw"}).id)
        supplies.note_climate(work, "2026-11-25 14:00:00", 294.15, 0.45, "21 C, 45 %", visit.id)
        supplies.hand_over(work, visit.id, "owner", {"found": []}, "ab" * 32)


def main() -> int:
    """Make the file, unless it is there."""
    target = FOLDER / f"{newest()}.sqlite"
    if target.exists():
        print(f"{target} is there already; it stays as it is.")
        return 1
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "shop"
        with new_shop(place, "Weir Lane Bench") as shop:
            fill(shop)
        small = sqlite3.connect(place / "shop.sqlite", isolation_level=None)
        for words in ("journal_mode = DELETE", f"page_size = {SMALLEST_PAGE}"):
            small.execute(f"PRAGMA {words}").fetchall()
        small.execute("VACUUM")
        small.close()
        FOLDER.mkdir(exist_ok=True)
        shutil.copy(place / "shop.sqlite", target)
    print(f"{target}: {target.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
