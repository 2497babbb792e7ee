"""Made-up journals and jobs of an invented shop: what a bench would have written at a yearly look-over."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

from setwright.instrument.jobfile import Job
from setwright.records.journal import from_bytes
from setwright.records.journal_text import line_of, parse

MM = 1e-3
RECHECK = timedelta(days=90)
FOUND = (
    "the nut slots are dry",
    "the second tuner's screw was loose",
    "fret ends stand out a little",
    "dust, else good",
)
CARE = ("wipe the strings after playing", "keep it in its case in winter, near 45 % humidity")
WISHES = (
    "The usual, once a year.",
    "Once over; new strings of the same kind, please.",
    "Goes out of tune since autumn.",
)
HEIGHTS = (1.50, 1.62, 1.68, 1.79, 2.10, 1.93)  # mm, from string 1
LEANED = (  # as the floated demo instrument comes back, read in the ways it was left by
    *(f"pitch string {i} = {cents} c ± 0.4 c" for i, cents in enumerate((4.1, 3.6, 5.2, 2.9, 3.3, 2.4), start=1)),
    "rear gap treble = 2.25 mm ± 0.05 mm", "rear gap bass = 2.15 mm ± 0.05 mm",
    *(
        f"string height string {i} at fret 12 = {height:.2f} mm ± 0.04 mm"
        for i, height in enumerate(HEIGHTS, start=1)
    ),
    "relief held at 1 and 17, read at 8 = .008 in ± .0005 in",
)  # fmt: skip
_HALF = re.compile(r"\s*±.*$")


def air_on(day: date, chance: Random) -> tuple[float, float]:
    """Temperature [C] and humidity [%] of a shop in the north: warm and damp in August, dry in February."""
    season = math.cos(2.0 * math.pi * (day.timetuple().tm_yday - 220) / 365.25)
    return 20.5 + 2.0 * season + chance.gauss(0.0, 0.7), 46.0 + 9.0 * season + chance.gauss(0.0, 2.5)


def yearly_job(raw: bytes) -> bytes:
    """A job that keeps everything as it was found in another: heights, gap and octaves are wanted as they stand.

    Args:
        raw: the other job's file.
    Returns: the file of the job.
    """
    tables = tomllib.loads(raw.decode())
    found = tables["found"]
    want: dict[str, Any] = {"pitch_tolerance": "2 c"}
    if "string_height" in found:
        want["string_height"] = _wanted(found["string_height"], "0.25 mm")
    if "rear_gap" in found and found.get("bridge") == "floating":
        want["rear_gap"] = f"{_first(found['rear_gap'])} ± 0.25 mm"
    name = tables["job"]["title"].partition(":")[0]
    about = {"title": f"{name}: yearly look-over", "instrument": tables["job"]["instrument"], "wish": WISHES[0]}
    return _document({"job": about, "found": found, "want": want})


def looked_over(raw: bytes) -> bytes:
    """A job on the demo instrument that was floated: as it comes back a season later.

    Args:
        raw: the job that floated it.
    Returns: the file of the job.
    """
    tables = tomllib.loads(raw.decode())
    was = tables["found"]
    found = {
        "strings": was["strings"], "tuning": was["tuning"], "bridge": "floating", "springs": was["springs"],
        "rear_gap": "2.2 mm ± 0.1 mm", "shims": [{"kind": "strip", "thickness": ".030 in"}],
        "string_height": {"fret": 12, "values": [f"{one:.2f} mm ± 0.04 mm" for one in HEIGHTS]},
    }  # fmt: skip
    about = {
        "title": f"{tables['job']['title'].partition(':')[0]}: look over", "instrument": tables["job"]["instrument"],
        "wish": "It leans back a little since the heating is on; set it as it was.",
    }  # fmt: skip
    want = {
        "bridge": "floating", "rear_gap": "2.6 mm ± 0.25 mm", "pitch_tolerance": "2 c",
        "string_height": tables["want"]["string_height"],
    }  # fmt: skip
    return _document({"job": about, "found": found, "want": want})


def opened_lines(day: date, chance: Random, read: tuple[str, ...] = ()) -> str:
    """What is written when an instrument comes in and waits for its turn.

    Args:
        day: on which it came.
        chance: of the weather, and the number of its case.
        read: what was read of it at once.
    Returns: the lines of its journal.
    """
    warm, damp = air_on(day, chance)
    words = [("read", f"temperature = {warm:.0f} C"), ("read", f"humidity = {damp:.0f} %")]
    words.append(("note", f"case: {day:%y}-{chance.randint(100, 199)}"))
    words += [("read", one) for one in read]
    return _lines(words, datetime(day.year, day.month, day.day, 9, 5), "Ada")


def finished_moved(raw: bytes, day: date) -> str:
    """The journal of a finished job, moved in time.

    Args:
        raw: the journal's bytes.
        day: on which it is to begin.
    Returns: its lines.
    """
    entries = from_bytes(raw, "finished").entries
    by = day - entries[0].when.date()
    out = []
    for one in entries:
        text = one.text
        if text.startswith("recheck: "):
            text = f"recheck: {date.fromisoformat(text.removeprefix('recheck: ')) + by}"
        moved = parse(one.verb, text, one.when + by, one.who, one.sure)
        out.append(f"{line_of(replace(moved, number=one.number))}\n")
    return "".join(out)


def yearly_lines(job: Job, when: datetime, chance: Random) -> str:
    """The journal of a yearly look-over: read as found, strings changed, brought back, read again the next morning.

    Args:
        job: whose [found] table tells how it is to stand again.
        when: the first entry.
        chance: how far it has wandered.
    Returns: the lines.
    """
    warm, damp = air_on(when.date(), chance)
    first = [("read", f"temperature = {warm:.0f} C"), ("read", f"humidity = {damp:.0f} %")]
    first += [("note", f"case: {when:%y}-{chance.randint(100, 199)}")]
    first += [("note", f"found: {chance.choice(FOUND)}")]
    lean = chance.gauss(0.0, 1.0)  # of the whole neck since last year, in its own standard deviations
    first += list(_as_found(job, lean, chance))
    first += list(_work(job, lean))
    later = list(_as_left(job, chance))
    later += [("note", f"care: {chance.choice(CARE)}")]
    later += [("note", f"recheck: {when.date() + RECHECK}")]
    text = _lines(first, when, "Ada")
    return text + _lines(later, when + timedelta(days=1), "Ben Hale", len(first))


def _as_found(job: Job, lean: float, chance: Random) -> Iterator[tuple[str, str]]:
    for i, _ in enumerate(job.found.tuning, start=1):
        yield "read", f"pitch string {i} = {-4.0 * lean + chance.gauss(0.0, 4.0):.0f} c with tuner"
    yield from _heights(job, 0.08 * lean, 0.04, chance)
    if job.found.relief is not None:
        yield "read", _relief(job, 0.04 * lean + chance.gauss(0.0, 0.015))
    if _floats(job):
        yield "read", f"rear gap = {_gap(job) - 0.15 * lean + chance.gauss(0.0, 0.05):.2f} mm ± 0.1 mm"
    yield from _octaves(job, 2.0, chance)


def _work(job: Job, lean: float) -> Iterator[tuple[str, str]]:
    yield "did", "strings changed"
    if job.found.relief is not None and abs(lean) > 0.5:
        yield "did", f"rod {'tighter' if lean > 0.0 else 'looser'} 1/8 turn"
    if _floats(job):
        yield "did", f"claw {'in' if lean > 0.0 else 'out'} {'1/4' if abs(lean) > 1.0 else '1/8'} turn"
    for i, one in reversed(list(enumerate(job.found.tuning, start=1))):
        yield "did", f"tune string {i} to {one.si:.2f} Hz, heard {one.si:.2f} Hz"
    if _floats(job):
        yield "did", "bar down and let go"
        yield "did", "bar up and let go"


def _as_left(job: Job, chance: Random) -> Iterator[tuple[str, str]]:
    for i, _ in enumerate(job.found.tuning, start=1):
        yield "read", f"pitch string {i} = {chance.gauss(0.0, 0.6):.1f} c ± 0.4 c"
    yield from _heights(job, 0.0, 0.03, chance)
    if job.found.relief is not None:
        yield "read", _relief(job, chance.gauss(0.0, 0.01))
    if _floats(job):
        yield "read", f"rear gap = {_gap(job) + chance.gauss(0.0, 0.05):.2f} mm ± 0.05 mm"
    yield from _octaves(job, 0.7, chance)


def _heights(job: Job, rise: float, spread: float, chance: Random) -> Iterator[tuple[str, str]]:
    """String heights about those of the job [mm]."""
    heights = job.found.string_height
    if heights is None:
        return
    for i, one in enumerate(heights.amounts, start=1):
        value = one.si / MM + rise + chance.gauss(0.0, spread)
        yield "read", f"string height string {i} at fret {heights.fret} = {value:.2f} mm ± 0.04 mm"


def _relief(job: Job, off: float) -> str:
    """Relief about that of the job [mm]."""
    one = job.found.relief
    assert one is not None
    low, high = one.hold
    return f"relief held at {low} and {high}, read at {one.read} = {one.value.si / MM + off:.2f} mm ± 0.02 mm"


def _octaves(job: Job, spread: float, chance: Random) -> Iterator[tuple[str, str]]:
    for i, _ in enumerate(job.found.tuning, start=1):
        yield "read", f"octave error string {i} = {chance.gauss(0.0, spread):.1f} c ± 0.5 c"


def _floats(job: Job) -> bool:
    return job.found.bridge == "floating" and job.found.rear_gap is not None


def _gap(job: Job) -> float:
    """Rear gap as found [mm]."""
    assert job.found.rear_gap is not None
    return 0.5 * sum(one.si for one in job.found.rear_gap) / MM


def _lines(words: list[tuple[str, str]], when: datetime, who: str, before: int = 0) -> str:
    """Entries two minutes apart as lines of a journal."""
    out = []
    for i, (verb, text) in enumerate(words, start=1):
        entry = parse(verb, text, when + timedelta(minutes=2 * i), who, sure=True)
        out.append(f"{line_of(replace(entry, number=before + i))}\n")
    return "".join(out)


def _wanted(height: dict[str, Any], half: str) -> dict[str, Any]:
    """String heights with a tolerance each."""
    out = dict(height)
    for name in ("treble", "bass"):
        if name in out:
            out[name] = f"{_first(out[name])} ± {half}"
    if "values" in out:
        out["values"] = [f"{_first(one)} ± {half}" for one in out["values"]]
    return out


def _first(value: Any) -> str:
    """A value as written, without its ±; of a pair the treble side."""
    if isinstance(value, list):
        return _first(value[0])
    return _HALF.sub("", value["value"] if isinstance(value, dict) else value)


def _document(tables: dict[str, dict[str, Any]]) -> bytes:
    """Tables as TOML."""
    lines = []
    for name, fields in tables.items():
        lines += [f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in fields.items()), ""]
    return "\n".join(lines).encode()


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(_toml(one) for one in value)}]"
    return json.dumps(value, ensure_ascii=False)
