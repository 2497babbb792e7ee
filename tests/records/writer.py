"""A bench that writes into a shop and says so after each writing, until it is done or killed.

    python -m tests.records.writer WHERE VISIT SEED COUNT

Each line it prints is JSON: what was written, and is kept from then on. A writing that is refused ends it with exit
code 2 and one sentence.
"""

from __future__ import annotations

import hashlib
import io
import json
import random
import sys
from datetime import datetime, timedelta

from setwright.errors import SetwrightError
from setwright.records import supplies
from setwright.records.edits import edit, get
from setwright.records.journal_text import parse
from setwright.records.kept import append
from setwright.records.rows import Instrument, Owner, Visit
from setwright.records.shop import Shop, Work, open_shop

BEGIN = datetime(2026, 11, 25, 15)
PART = "spring"
KINDS = ("entry", "entry", "entry", "entry", "entry", "edit", "edit", "moved", "moved", "heard")


class Bench:
    """One bench at work; the same seed writes the same."""

    def __init__(self, shop: Shop, visit: str, seed: int) -> None:
        self.shop, self.visit, self.chance = shop, visit, random.Random(seed)
        with shop.reading() as work:
            self.owner = get(work, Instrument, get(work, Visit, visit).instrument).owner or ""
            self.part = supplies.parts(work)[0].id

    def write(self, i: int) -> tuple[str, list[object]]:
        """One writing; what it kept."""
        kind = self.chance.choice(KINDS)
        with self.shop.writing("bench") as work:
            done: list[object] = getattr(self, kind)(work, i)
        return kind, done

    def entry(self, work: Work, i: int) -> list[object]:
        """A reading into the journal: number and words."""
        words = f"rear gap = {self.chance.gauss(2.6, 0.1):.2f} mm"
        return [append(work, self.visit, parse("read", words, BEGIN + timedelta(seconds=i))).entry.number, words]

    def edit(self, work: Work, i: int) -> list[object]:
        """The owner's contact: version and what it is now."""
        kept = edit(work, get(work, Owner, self.owner), contact=f"+00 {i:06d}")
        return [kept.version, kept.contact]

    def moved(self, work: Work, _i: int) -> list[object]:
        """Parts: how many more, and the stock afterwards."""
        used = self.chance.random() < 0.7
        count = -self.chance.randint(1, 3) if used else self.chance.randint(1, 9)
        visit = self.visit if used else None
        return [count, supplies.move_stock(work, self.part, count, "used" if used else "came", visit)]

    def heard(self, work: Work, i: int) -> list[object]:
        """A file and the reading heard in it, together: number, words, hash."""
        raw = self.chance.randbytes(self.chance.choice((50, 5_000, 200_000)))
        sha256 = hashlib.sha256(raw).hexdigest()
        supplies.attach(work, "other", f"{i}.bin", io.BytesIO(raw), visit=self.visit)
        words = f'pitch string 3 = 196.0 Hz, recorded "{i}.bin" sha256 {sha256}'
        kept = append(work, self.visit, parse("read", words, BEGIN + timedelta(seconds=i))).entry
        return [kept.number, kept.text, sha256]


def main(where: str, visit: str, seed: str, count: str) -> int:
    """Write so many times."""
    try:
        with open_shop(where) as shop:
            bench = Bench(shop, visit, int(seed))
            for i in range(int(count)):
                print(json.dumps(bench.write(i)) + "\n", end="", flush=True)  # one call to the system
    except SetwrightError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
