"""What the shop's records look like as text and as data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from setwright.bench.journals import plain
from setwright.bench.parts import counted
from setwright.bench.shop import Shown
from setwright.cli.layout import columns, labelled, section
from setwright.records.journal_text import line_of
from setwright.records.overview import InstrumentLine
from setwright.records.rows import Visit

_INNER = ("tail", "job_file", "instrument_file", "belief")
_COLUMN = 13
_MOST = 28  # signs of a cell


def visit_data(visit: Visit) -> dict[str, Any]:
    """A visit as JSON can hold it.

    Args:
        visit: it.
    Returns: its fields, without those that only the shop needs.
    """
    return {name: value for name, value in asdict(visit).items() if name not in _INNER}


def shown_data(shown: Shown) -> dict[str, Any]:
    """A visit with what belongs to it, as JSON can hold it.

    Args:
        shown: it.
    Returns: plain data.
    """
    owner = shown.owner
    return {
        "visit": visit_data(shown.visit),
        "instrument": {name: getattr(shown.instrument, name) for name in _OF_INSTRUMENT},
        "owner": None if owner is None else {"id": owner.id, "name": owner.name, "contact": owner.contact},
        "entries": [plain(one) for one in shown.journal.entries],
        "remarks": shown.journal.remarks,
        "steps": shown.steps,
        "parts": [{"name": one.name, "unit": one.unit, "used": -one.stock} for one in shown.parts],
        "attachments": shown.attachments,
        "climate": shown.climate,
        "sheets": shown.sheets,
    }


_OF_INSTRUMENT = ("id", "name", "maker", "model", "serial", "colour")


def instrument_lines(found: Sequence[InstrumentLine], find: str) -> list[str]:
    """A list of instruments.

    Args:
        found: the lines.
        find: what was looked for.
    Returns: lines of text.
    """
    if not found:
        return [f"There is no instrument with {find!r}." if find else "There is no instrument in this shop yet."]
    rows = [("instrument", "owner", "serial", "visits", "last", "id")]
    for one in found:
        last = "" if one.last is None else one.last[:10]
        rows.append((_cell(one.name), _cell(one.owner), _cell(one.serial), str(one.visits), last, one.id[-8:]))
    return columns(rows, indent=0, right=(3,))


def visit_lines(shown: Shown) -> list[str]:
    """A visit as text.

    Args:
        shown: the visit with what belongs to it.
    Returns: lines of text.
    """
    visit, instrument = shown.visit, shown.instrument
    about = " ".join(part for part in (instrument.maker, instrument.model, instrument.colour) if part)
    owner = "not known" if shown.owner is None else f"{shown.owner.name} {shown.owner.contact}"
    rows = [
        ("instrument", f"{instrument.name} {about}"), ("serial", instrument.serial), ("owner", owner),
        ("kind of job", visit.kind), ("came", _time(visit.came)),
        ("handed back", _time(visit.handed_back) if visit.handed_back else "not yet"), ("wish", visit.wish),
        ("holds to", f"specification {visit.specification[-8:]}" if visit.specification else ""),
        ("version", str(visit.version)), ("visit", visit.id),
    ]  # fmt: skip
    lines = [f"Visit {visit.number} of {instrument.name}, {visit.state}", ""]
    for label, text in rows:
        lines += labelled(label, text, 0, _COLUMN)
    lines += section("journal", [_entry(one) for one in shown.journal.entries])
    parts = [(one.name, counted(-one.stock, one.unit)) for one in shown.parts]
    files = [(one.kind, one.name, one.sha256[:12]) for one in shown.attachments]
    air = [(one.at, *_air(one.temperature, one.humidity)) for one in shown.climate]
    sheets = [(one.kind, _time(one.handed_over), one.sha256[:12]) for one in shown.sheets]
    steps = [(str(one.number), "done" if one.done else "to do") for one in shown.steps]
    for title, cells in (("parts", parts), ("files", files), ("climate", air), ("sheets", sheets), ("steps", steps)):
        lines += section(title, columns(cells) if cells else [])
    return lines


def _entry(entry: Any) -> str:
    text = line_of(entry)
    return f"  {text}" if entry.struck_by is None else f"- {text}  (struck by #{entry.struck_by})"


def _air(temperature: float | None, humidity: float | None) -> tuple[str, str]:
    warm = "" if temperature is None else f"{temperature - 273.15:.1f} C"
    return warm, "" if humidity is None else f"{100.0 * humidity:.0f} %"


def _time(text: str) -> str:
    return text[:16].replace("T", " ") + (" UTC" if text.endswith("Z") else "")


def _cell(text: str) -> str:
    return text if len(text) <= _MOST else f"{text[: _MOST - 3]}..."
