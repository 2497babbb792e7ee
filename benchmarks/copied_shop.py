"""A made shop, several times over: the same visits of other instruments and other owners, copied by the database.

Making a visit takes the processor ten times as long as copying it. Ids of copies lie between those of the visits they
are copied from, as those of other visits of the same days would; names and serial numbers go on counting.
"""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import Table, func, select

from benchmarks.made_shop import MARKED, ORIGINAL, Made
from setwright.records import tables
from setwright.records.bulk import insert_rows
from setwright.records.ids import SIGNS
from setwright.records.rows import folded
from setwright.records.shop import Shop, Work

OWN = ("owner", "instrument", "visit")  # columns that name rows which are copied
ROOM = 400_000  # kB of memory for SQLite's pages: rows of a copy go all over its indexes
SOUGHT = {"owner": ("name", "contact"), "instrument": ("name", "maker", "model", "serial", "colour")}
COPIED = (
    tables.VISIT, tables.ENTRY, tables.STEP, tables.STOCK_MOVEMENT, tables.CLIMATE, tables.SHEET, tables.ATTACHMENT,
    tables.CHANGE, tables.VISIT_SUMMARY, tables.VISIT_VALUE,
)  # fmt: skip


def copy(shop: Shop, made: Made, times: int) -> None:
    """Copy all visits with everything that belongs to them, each copy one transaction.

    Args:
        shop: as made, its summaries fresh.
        made: what was made; what is copied is added.
        times: how often what is there is to be there at the end.
    """
    first = Made(made.visits, made.entries, 0.0, made.serials[:], made.names[:], counts=made.counts[:])
    homes, owners = made.instruments[:], made.owners[:]
    for number in range(1, times):
        mark = SIGNS[number // len(SIGNS)] + SIGNS[number % len(SIGNS)]
        with shop.writing("made") as work:
            if work.connection.dialect.name == "sqlite":
                work.connection.exec_driver_sql(f"PRAGMA cache_size = -{ROOM}")
            else:  # what copies name is there as surely as for the original
                work.connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
            _people_and_instruments(work, number, first, mark)
            for table in COPIED:
                _rows(work, table, mark)
        made.visits += first.visits
        made.entries += first.entries
        made.instruments += [marked(one, mark) for one in homes]
        made.serials += [counted(one, number * len(homes)) for one in first.serials]
        made.names += [counted(one, number * len(first.names)) for one in first.names]
        made.owners += [counted(one, number * len(first.names)) for one in owners]
        made.counts += first.counts


def marked(id: str, mark: str) -> str:
    """The id of a copy."""
    return id[: MARKED.start] + mark + id[MARKED.stop :]


def counted(name: str, more: int) -> str:
    """A name that ends with a number, counted on."""
    return re.sub(r"\d+$", lambda found: f"{int(found[0]) + more:0{len(found[0])}d}", name)


def _people_and_instruments(work: Work, number: int, first: Made, mark: str) -> None:
    """Owners and instruments of a copy; what a search looks through is made as for any other."""
    for table, count in ((tables.OWNER, len(first.names)), (tables.INSTRUMENT, len(first.counts))):
        original = func.substr(table.c.id, MARKED.start + 1, 2) == ORIGINAL
        out = []
        for row in work.connection.execute(select(table).where(original)).mappings():
            new: dict[str, Any] = {**row, "id": marked(row["id"], mark)}
            new |= {key: counted(row[key], number * count) for key in ("name", "serial") if key in row}
            new |= {key: marked(row[key], mark) for key in ("owner",) if row.get(key)}
            new["sought"] = folded(*(new[key] for key in SOUGHT[table.name]))
            out.append([new[column.name] for column in table.columns])
        insert_rows(work, table, out)


def _rows(work: Work, table: Table, mark: str) -> None:
    """The rows of a copy, from those of the original."""
    quote = work.connection.dialect.identifier_preparer.quote
    key = "id" if table is tables.VISIT else "row" if table is tables.CHANGE else "visit"

    def new(name: str) -> str:
        at = quote(name)
        if name not in (key, "id", *OWN):
            return at
        return f"substr({at}, 1, {MARKED.start}) || '{mark}' || substr({at}, {MARKED.stop + 1})"

    names = list(table.columns.keys())
    originals = f"SELECT id FROM visit WHERE substr(id, {MARKED.start + 1}, 2) = '{ORIGINAL}'"
    work.connection.exec_driver_sql(
        f"INSERT INTO {quote(table.name)} ({', '.join(map(quote, names))}) SELECT {', '.join(map(new, names))} "
        f"FROM {quote(table.name)} WHERE {quote(key)} IN ({originals})"
    )
