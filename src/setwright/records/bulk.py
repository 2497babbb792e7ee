"""Many rows at once, the fastest way each engine has."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from sqlalchemy import Table

from setwright.records.engine import sentence
from setwright.records.shop import Work


def insert_rows(work: Work, table: Table, rows: Iterable[Sequence[Any]]) -> None:
    """Add rows to a table, inside the transaction that is open.

    Args:
        work: writing.
        table: it.
        rows: of each, the values in the order of the table's columns; taken one by one.
    Raises: InputError where the database refuses one.
    """
    quote = work.connection.dialect.identifier_preparer.quote
    columns = ", ".join(quote(one.name) for one in table.columns)
    into = f"{quote(table.name)} ({columns})"
    driver: Any = work.connection.connection.driver_connection
    if isinstance(driver, sqlite3.Connection):
        driver.executemany(f"INSERT INTO {into} VALUES ({', '.join('?' * len(table.columns))})", rows)
        return
    _told(work, lambda: _copy(driver, f"COPY {into} FROM STDIN", rows))


def _copy(driver: Any, words: str, rows: Iterable[Sequence[Any]]) -> None:
    with driver.cursor() as cursor, cursor.copy(words) as copy:
        for row in rows:
            copy.write_row(row)


def _told(work: Work, do: Callable[[], None]) -> None:
    """What PostgreSQL's driver complains of, in one sentence."""
    errors: Any = work.connection.dialect.loaded_dbapi
    try:
        do()
    except errors.Error as error:
        raise sentence(work.place, error, "; nothing was written") from None
