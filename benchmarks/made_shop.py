"""Shops made to be measured: any number of visits, from a seed, with about a hundred entries each.

Rows go straight into the tables, many at once; each entry was read from words as a bench writes them, so that the
shop is whole by its own check. The same seed and number make the same rows on either engine, to the last id.

    python -m benchmarks.made_shop FOLDER --visits 1000
"""

from __future__ import annotations

import argparse
import hashlib
import io
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from sqlalchemy import Table, insert

from setwright.metrology.reading import Convention, Place
from setwright.records import tables
from setwright.records.bulk import insert_rows
from setwright.records.entry_rows import row_of
from setwright.records.ids import spelled
from setwright.records.journal_text import parse
from setwright.records.rows import as_json, folded
from setwright.records.shop import Shop, Work, new_shop, open_shop

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
CHUNK = 200  # visits written together
KINDS = ("set-up", "restring", "floating", "fret dressing", "check-up")
MAKERS = ("Weir", "Alder & Reed", "Nightjar", "Sölvberg")
MODELS = ("Kestrel", "Dunlin", "Heron", "Plover", "Wren")
COLOURS = ("sea green", "walnut", "cream", "black", "")
FIRST = ("Ada", "Bo", "Cleo", "Dov", "Edda", "Finn", "Grete", "Hal", "Ines", "Jon", "Käthe", "Lev", "Mira", "Nils")
LAST = ("Lark", "Ångström-Weir", "Moss", "Rook", "Stone", "Thorne", "Vale", "Wren", "Øye", "Yarrow", "O'Dell")
BENCHES = ("Ada", "Bo", "Cleo Marsh")
OPEN = (329.63, 246.94, 196.0, 146.83, 110.0, 82.41)  # Hz, the usual six strings
HEIGHTS = (1.6, 1.7, 1.8, 1.9, 1.95, 2.0)  # mm at fret 12
BEGIN = datetime(2016, 1, 4, 9)
PHOTO_EVERY = 50  # visits
MARKED = slice(22, 24)  # signs of an id that say which copy it is of (`copied_shop`)
ORIGINAL = "00"
Row = dict[str, Any]
Values = list[Any]  # of an entry, in the order of its columns
_VISIT, _NUMBER, _AT, _WHO, _VERB, _TEXT, _LINE, _STRIKES = (
    list(tables.ENTRY.columns.keys()).index(name)
    for name in ("visit", "number", "at", "who", "verb", "text", "line", "strikes")
)


@dataclass
class Made:
    """What was made. serials, names: of instruments and owners, to search for. instruments: ids; of each instrument,
    owners: the owner's name, counts: how many visits."""

    visits: int = 0
    entries: int = 0
    seconds: float = 0.0
    serials: list[str] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    instruments: list[str] = field(default_factory=list)
    owners: list[str] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)


def load(shop: Shop, visits: int, seed: int = 1) -> Made:
    """Fill a shop that is empty; each chunk of visits is one transaction.

    Args:
        shop: with nothing in it.
        visits: how many.
        seed: of everything made.
    Returns: what was made.
    """
    begun = time.perf_counter()
    maker = Maker(random.Random(seed))
    with shop.writing("made") as work:
        maker.house(work)
    while maker.made.visits < visits:
        with shop.writing("made") as work:
            maker.chunk(work, min(CHUNK, visits - maker.made.visits))
    maker.made.seconds = time.perf_counter() - begun
    return maker.made


class Maker:
    """Makes rows; one random course through everything."""

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.made = Made()
        self.rows: dict[str, list[Row]] = {}
        self.journals: list[Values] = []
        self.documents: set[str] = set()
        self.house_id = self.part_id = ""
        self.owner: str | None = None

    def id(self, when: datetime) -> str:
        """A name of a row made at that time."""
        ms = int((when - datetime(1970, 1, 1)).total_seconds() * 1000.0)
        id = spelled(ms << 80 | self.chance.getrandbits(80))
        return id[: MARKED.start] + ORIGINAL + id[MARKED.stop :]

    def add(self, table: Table, **row: Any) -> None:
        """Put a row where it will be written from."""
        self.rows.setdefault(table.name, []).append(row)

    def document(self, text: str) -> str:
        """A text, once."""
        sha256 = hashlib.sha256(text.encode()).hexdigest()
        if sha256 not in self.documents:
            self.documents.add(sha256)
            self.add(tables.DOCUMENT, sha256=sha256, text=text)
        return sha256

    def house(self, work: Work) -> None:
        """People, a part, and the house specification every visit is held against."""
        for name in BENCHES:
            self.add(tables.PERSON, id=self.id(BEGIN), version=1, name=name, since="2016-01-04", until=None)
        self.part_id, self.house_id = self.id(BEGIN), self.id(BEGIN)
        self.add(tables.PART, id=self.part_id, version=1, name="set of strings .010", unit="set")
        self.move(BEGIN, 1_000_000, "came", None)
        self.add(
            tables.SPECIFICATION, id=self.house_id, name="house", number=1, made=zulu(BEGIN), who="Ada", note="first"
        )
        for i, item in enumerate(specified(), start=1):
            self.add(tables.SPECIFICATION_ITEM, specification=self.house_id, number=i, **item)
        self.write(work)

    def move(self, when: datetime, count: int, reason: str, visit: str | None) -> None:
        """Move the stock of the one part."""
        self.add(
            tables.STOCK_MOVEMENT, id=self.id(when), part=self.part_id, count=count, reason=reason, visit=visit,
            made=zulu(when), who="Bo",
        )  # fmt: skip

    def chunk(self, work: Work, visits: int) -> None:
        """Instruments with their visits, 1 to 40 each, about eight on the average; then write them."""
        left = visits
        while left:
            count = min(left, 40, 1 + int(self.chance.expovariate(1.0 / 7.5)))
            self.instrument(work, count)
            left -= count
        self.write(work)

    def instrument(self, work: Work, count: int) -> None:
        """One instrument and its visits."""
        when = BEGIN + timedelta(days=self.chance.uniform(0.0, 3600.0))
        if self.owner is None or self.chance.random() < 0.6:
            self.owner = self.person(when)
        number = len(self.made.instruments) + 1
        model, maker = self.chance.choice(MODELS), self.chance.choice(MAKERS)
        serial, colour = f"{maker[:2].upper()}{number:06d}", self.chance.choice(COLOURS)
        file, home = self.document(f"# Number {number}.\n{instrument_text()}"), self.id(when)
        self.add(
            tables.INSTRUMENT, id=home, version=1, owner=self.owner, name=f"{model} {number}", maker=maker,
            model=model, serial=serial, colour=colour, made=zulu(when),
            sought=folded(f"{model} {number}", maker, model, serial, colour), file_name="kestrel.instrument.toml",
            file=file,
        )  # fmt: skip
        self.made.serials.append(serial)
        self.made.instruments.append(home)
        self.made.owners.append(self.made.names[-1])
        self.made.counts.append(count)
        for i in range(1, count + 1):
            self.visit(work, home, file, i, when)
            when += timedelta(days=self.chance.uniform(20.0, 420.0))

    def person(self, when: datetime) -> str:
        """An owner."""
        name = f"{self.chance.choice(FIRST)} {self.chance.choice(LAST)} {len(self.made.names) + 1}"
        contact = f"+00 {self.chance.randrange(10**9):09d}"
        self.made.names.append(name)
        id = self.id(when)
        self.add(
            tables.OWNER, id=id, version=1, name=name, contact=contact, note="", made=zulu(when),
            sought=folded(name, contact),
        )  # fmt: skip
        return id

    def visit(self, work: Work, instrument: str, file: str, number: int, came: datetime) -> None:
        """One visit with everything that goes with it."""
        id, kind = self.id(came), self.chance.choice(KINDS)
        came = came.replace(microsecond=0)
        entries = self.entries(id, came)
        back = came + timedelta(days=self.chance.randint(1, 20))
        wish = f"Lower strings, and it buzzes at fret {self.chance.randint(1, 22)}."
        self.add(
            tables.VISIT, id=id, version=1, instrument=instrument, number=number, state="closed", kind=kind,
            came=came.isoformat(sep=" "), handed_back=back.isoformat(sep=" "), specification=self.house_id, wish=wish,
            job_name="kestrel-float.job.toml", instrument_name="kestrel.instrument.toml",
            journal_name="kestrel-float.journal.txt", job_file=self.document(job_text(wish)), instrument_file=file,
            tail=b"", belief=None,
        )  # fmt: skip
        self.journals += entries
        humidity = self.chance.randint(30, 65)
        self.add(
            tables.CLIMATE, id=self.id(came), visit=id, at=came.isoformat(sep=" "), temperature=294.15,
            humidity=humidity / 100, written=f"21 C, {humidity} %", who="Bo",
        )  # fmt: skip
        self.add(
            tables.STEP, id=self.id(came), visit=id, number=1, advice=as_json({"do": "claw", "turns": 0.375}),
            planned=zulu(came), done=zulu(back),
        )  # fmt: skip
        self.add(
            tables.SHEET, id=self.id(back), visit=id, kind="owner", data=as_json({"case": self.made.visits}),
            sha256=hashlib.sha256(id.encode()).hexdigest(), handed_over=zulu(back), who="Ada",
        )  # fmt: skip
        self.move(back, -1, "used", id)
        self.add(
            tables.CHANGE, id=self.id(came), table_name="visit", row=id, version=1, made=zulu(came), who="Ada",
            before="{}", after="{}",
        )  # fmt: skip
        if self.made.visits % PHOTO_EVERY == 0:
            self.photo(work, id, came)
        self.made.visits += 1
        self.made.entries += len(entries)

    def photo(self, work: Work, visit: str, when: datetime) -> None:
        """A file of a kind that is not looked into."""
        raw = self.chance.randbytes(20_000)
        sha256 = hashlib.sha256(raw).hexdigest()
        work.connection.execute(insert(tables.CONTENT), {"sha256": sha256, "size": len(raw)})
        work.contents.put(work.connection, sha256, io.BytesIO(raw))
        self.add(
            tables.ATTACHMENT, id=self.id(when), instrument=None, visit=visit, kind="other", name="as found.bin",
            media_type="application/octet-stream", sha256=sha256, made=zulu(when), who="Bo",
        )  # fmt: skip

    def entries(self, visit: str, when: datetime) -> list[Values]:
        """The journal of a visit: as found, three to five rounds, as left; now and then a note or a struck reading."""
        kept = pool()
        plan = ["found", *["round"] * self.chance.randint(3, 5), "left"]
        who = self.chance.choice(BENCHES)
        by = f' by "{who}"' if " " in who else f" by {who}"
        rows: list[Values] = []

        def add(like: Values, strikes: int | None = None, text: str | None = None) -> None:
            nonlocal when
            when += timedelta(seconds=self.chance.randint(8, 90))
            row, number = like.copy(), len(rows) + 1
            row[_VISIT], row[_NUMBER], row[_AT], row[_WHO] = visit, number, when.isoformat(sep=" "), who
            if text is not None:
                row[_STRIKES], row[_TEXT] = strikes, text
            row[_LINE] = f"{row[_AT]}  #{number}{by}  {row[_VERB]:<5} {row[_TEXT]}"
            rows.append(row)

        for part in plan:
            for choices in kept[part]:
                add(self.chance.choice(choices))
            if self.chance.random() < 0.1:
                struck = len(rows)
                add(kept["strike"][0][0], strikes=struck, text=f"#{struck}: read on the wrong string")
        if self.chance.random() < 0.3:
            add(self.chance.choice(kept["note"][0]))
        return rows

    def write(self, work: Work) -> None:
        """Everything that waits, parents first."""
        for table in tables.METADATA.sorted_tables:
            waiting = self.rows.pop(table.name, [])
            names = [one.name for one in table.columns]
            insert_rows(work, table, ([row[name] for name in names] for row in waiting))
            if table is tables.ENTRY:
                insert_rows(work, table, self.journals)
                self.journals = []


def zulu(when: datetime) -> str:
    """A time as most tables keep it."""
    return f"{when.isoformat(timespec='milliseconds')}Z"


@cache
def instrument_text() -> str:
    """An instrument file of the examples."""
    return (EXAMPLES / "kestrel.instrument.toml").read_text(encoding="utf-8")


@cache
def job_text(wish: str) -> str:
    """A job file of the examples with another wish."""
    lines = (EXAMPLES / "kestrel-float.job.toml").read_text(encoding="utf-8").splitlines()
    return "\n".join(f'wish = "{wish}"' if one.startswith("wish") else one for one in lines) + "\n"


def specified() -> Iterator[Row]:
    """Items of the house specification: heights at fret 12 and the rear gap."""
    rest = {"kind": "length", "unit": "mm", "source": "", "convention": as_json(vars(Convention()))}
    for string, height in enumerate(HEIGHTS, start=1):
        place = as_json(vars(Place(12, string, "", False)))
        yield {
            **rest, "what": "string height", "place": place, "nominal": height * 1e-3, "low": (height - 0.2) * 1e-3,
            "high": (height + 0.2) * 1e-3, "written": f"{height} mm ± 0.2 mm",
        }  # fmt: skip
    yield {
        **rest, "what": "rear gap", "place": as_json(vars(Place())), "nominal": 2.6e-3, "low": 2.3e-3, "high": 2.9e-3,
        "written": "2.6 mm ± 0.3 mm",
    }  # fmt: skip


@cache
def pool() -> dict[str, list[list[Values]]]:
    """For each part of a journal, what stands in it one after the other, each as rows to choose from."""
    chance = random.Random(7)

    def some(verb: str, words: str, middle: float, spread: float, form: str = ".2f", count: int = 60) -> list[Values]:
        return [_row(verb, words.format(format(chance.gauss(middle, spread), form))) for _ in range(count)]

    def pitches(spread: float) -> list[list[Values]]:
        return [some("read", f"pitch string {i} = {{}} Hz", hz, hz * spread) for i, hz in enumerate(OPEN, start=1)]

    def heights(spread: float) -> list[list[Values]]:
        each = enumerate(HEIGHTS, start=1)
        return [some("read", f"string height string {i} at fret 12 = {{}} mm", one, spread) for i, one in each]

    relief = "relief held at 1 and 17, read at 8 = {} mm"
    tunes = [
        some("did", f"tune string {i} to {{}} Hz, heard {hz:.2f} Hz", hz, hz * 3e-3) for i, hz in enumerate(OPEN, 1)
    ]
    octaves = [some("read", f"octave error string {i} = {{}} c", 0.0, 2.0, ".1f") for i in range(1, 7)]
    gap = "rear gap = {} mm with rule 0.5 mm, at pitch, playing"
    return {
        "found": [
            some("read", "humidity = {} %", 48.0, 6.0, ".0f"), some("read", "temperature = {} C", 21.0, 1.0, ".1f"),
            some("read", gap, 2.9, 0.4), *pitches(4e-3), *heights(0.25), some("read", relief, 0.25, 0.04),
            some("read", "claw distance = {} mm", 12.5, 1.0, ".1f"),
        ],
        "round": [
            some("did", "claw in {} turns", 0.6, 0.1, ".3f"), *tunes, *pitches(6e-4), some("read", gap, 2.65, 0.15),
        ],
        "left": [
            some("did", "rod tighter {} turn", 0.12, 0.02, ".2f"), *pitches(2e-4), *heights(0.07), *octaves,
            some("read", relief, 0.22, 0.02), some("read", gap, 2.6, 0.08),
        ],
        "note": [[_row("note", f"buzz at fret {i}, string 6") for i in range(1, 22)]],
        "strike": [[_row("strike", "1: read on the wrong string")]],
    }  # fmt: skip


def _row(verb: str, words: str) -> Values:
    row = row_of("", parse(verb, words, BEGIN, sure=False), "", None)
    return [row[name] for name in tables.ENTRY.columns.keys()]  # noqa: SIM118 - no dict


def main() -> None:
    """Make a shop."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.made_shop")
    parser.add_argument("where")
    parser.add_argument("--visits", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    new_shop(given.where, "Made").close()
    with open_shop(given.where) as shop:
        made = load(shop, given.visits, given.seed)
    print(f"{made.visits} visits, {made.entries} entries, {len(made.instruments)} instruments, {made.seconds:.1f} s")


if __name__ == "__main__":
    main()
