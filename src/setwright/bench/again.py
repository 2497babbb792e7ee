"""A job once more: its file with what was left last time as found, to be read again before anything is turned."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from typing import Any

from setwright.errors import SetwrightError
from setwright.frozen import frozen
from setwright.instrument.files import instrument_from_bytes
from setwright.instrument.jobfile import job_from_bytes
from setwright.metrology.reading import Convention
from setwright.records.found_left import ATTITUDES, Key, Told
from setwright.records.history import AsLast

CARRIED = ("strings", "tuning", "reference", "springs", "attitude")  # of what was found last time
WANTED = ("strings", "tuning", "reference")  # of what was wanted then, and is so now
SIDES = ("treble", "bass")


@frozen
class Draft:
    """Files of a job. job, instrument: their bytes; names without folders. remarks: what to look at."""

    job_name: str
    job: bytes
    instrument_name: str
    instrument: bytes
    remarks: tuple[str, ...]


def draft(last: AsLast) -> Draft:
    """The job of a visit once more.

    Args:
        last: the visit with its files and what was left.
    Returns: files of a job with the same targets, limits and shop; as found is what was left.
    """
    visit = last.visit
    was: dict[str, Any] = tomllib.loads(last.job.decode("utf-8-sig"))
    instrument = instrument_from_bytes(last.instrument, visit.instrument_name)
    found, want = was.get("found", {}), was.get("want", {})
    now: dict[str, Any] = {name: found[name] for name in CARRIED if name in found}
    now |= {name: want[name] for name in WANTED if name in want}
    bridge = want.get("bridge", found.get("bridge"))
    if bridge is not None:
        now["bridge"] = "blocked" if bridge == "dive-only" else bridge
    left = _left({one.key: one.left for one in last.sums.values if one.left is not None}, instrument.strings)
    if now.get("bridge") == "decked":
        left.pop("rear_gap", None)
    about = {name: one for name, one in was["job"].items() if name != "wish"} | {"instrument": visit.instrument_name}
    tables = was | {"job": about, "found": now | left}
    day = visit.came[:10]
    head = [f"# As last time: visit {visit.number}, came {day}. What stands under found was left then: read it again."]
    lines = [*head, *(line for name, table in tables.items() for line in _table(name, table))]
    raw = ("\n".join(lines) + "\n").encode()
    remarks = ["read everything under found again before anything is turned; it is what was left last time."]
    if not left:
        remarks.append("nothing was read as left last time, so the measures under found are missing.")
    try:
        job_from_bytes(raw, visit.job_name, instrument)
    except SetwrightError as error:
        remarks.append(f"the draft needs a hand: {error}")
    return Draft(visit.job_name, raw, visit.instrument_name, last.instrument, tuple(remarks))


def _left(left: Mapping[Key, Told], strings: int) -> dict[str, Any]:
    """What was left, in the fields of a job file; only what is whole."""
    out: dict[str, Any] = {}
    stood = {key: told for key, told in left.items() if key.attitude == ATTITUDES[0] and key.kind == "length"}
    for what, field in (("rear gap", "rear_gap"), ("claw distance", "claw_distance")):
        sides = {key.side: _length(told) for key, told in stood.items() if key.what == what}
        if all(side in sides for side in SIDES):
            out[field] = [sides[side] for side in SIDES]
        elif "" in sides:
            out[field] = sides[""]
    heights = {key: told for key, told in stood.items() if key.what == "string height" and not key.convention}
    for fret in sorted({key.fret for key in heights}, key=lambda one: one != 12):
        row = {key.string: _length(told) for key, told in heights.items() if key.fret == fret}
        if set(row) == set(range(1, strings + 1)):
            out.setdefault("string_height", {"fret": fret, "values": [row[i] for i in sorted(row)]})
    for key, told in stood.items():
        how = Convention(**json.loads(key.convention)) if key.convention else Convention()
        if key.what == "relief" and key.string == 0 and how.hold_low and not how.straightedge:
            out["relief"] = {"value": _length(told), "hold": [how.hold_low, how.hold_high], "read": how.read_at}
    return out


def _length(told: Told) -> str:
    return f"{1e3 * told.si:.3f} mm ± {1e3 * told.u:.3f} mm"


def _table(name: str, table: Mapping[str, Any]) -> list[str]:
    return ["", f"[{name}]", *(f"{field} = {_value(value)}" for field, value in table.items())]


def _value(value: Any) -> str:
    """A value as TOML writes it: one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{field} = {_value(one)}" for field, one in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return str(value)
