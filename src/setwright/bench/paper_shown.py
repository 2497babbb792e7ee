"""The readings of a job as they stand on paper: every value with unit and ±, names of places, conventions in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from setwright.bench.paper_rows import COVERAGE, FINEST, Key, Reading, Told, Wanted, off
from setwright.bench.plans import reference_of
from setwright.instrument.jobfile import Job
from setwright.sheets.sheet import Group, Mark, Measure, Row
from setwright.units.pitch import note_name, note_number
from setwright.units.show import MINUS, System, show_band, show_length, show_value
from setwright.units.tables import unit_size


def groups_of(job: Job, readings: Sequence[Reading], system: System) -> tuple[Group, ...]:
    """The readings as rows of the shop's page, every value as it is shown.

    Args:
        job: the job, for the names of strings.
        readings: from `paper_rows.readings_of`.
        system: "inch" or "mm".
    Returns: one group for each quantity, place and convention.
    """
    reference = reference_of([one.si for one in job.want.tuning])
    names = [f"{i}  {note_at(one.si, reference)}" for i, one in enumerate(job.want.tuning, start=1)]
    groups: dict[tuple[str, str], list[Row]] = {}
    for one in readings:
        groups.setdefault(heading(one.key), []).append(_row(one, names, reference, system))
    return tuple(Group(what, how, tuple(_joined(rows))) for (what, how), rows in groups.items())


def heading(key: Key) -> tuple[str, str]:
    """What was read and where, and the convention in words.

    Args:
        key: of a reading.
    Returns: both.
    """
    low, high, read, straight, capo = key.how
    if key.what == "string height":
        held = f"capo on {capo}" if capo else "open string"
        return f"String height at fret {key.fret}", f"fret crown to underside, {held}, at pitch"
    if key.what == "relief":
        return "Relief", f"{'straightedge on' if straight else 'string held at'} {low} and {high}, read at {read}"
    return {
        "pitch": ("Pitch", "open string, first partial, as it is played"),
        "first-fret clearance": ("First-fret clearance", "fret crown to underside, open string, at pitch"),
        "rear gap": ("Rear gap of the base plate", "body top to underside at the rear edge, at pitch"),
        "claw distance": ("Claw distance", "hook line to the cavity wall"),
        "octave error": ("Octave error", "note held at fret 12 over the octave of the open string"),
    }[key.what]


def _row(one: Reading, names: Sequence[str], reference: float, system: System) -> Row:
    key, wanted, mark = one.key, one.wanted, None
    if wanted is not None:
        found = None if one.found is None else off(key, one.found, wanted) / wanted.tolerance
        left = None if one.left is None else off(key, one.left, wanted) / wanted.tolerance
        mark = Mark(found, left, 0.0 if one.left is None else COVERAGE * one.left.u / wanted.tolerance)
    side = f"{key.side} side" if key.side else "neck"
    return Row(
        name=names[key.string - 1] if key.string else side,
        found="" if one.found is None else shown(key, one.found, reference, system),
        target="" if wanted is None else target(key, wanted, reference, system),
        left="" if one.left is None else shown(key, one.left, reference, system, wanted),
        verdict=one.verdict,
        mark=mark,
        remark=one.remark,
    )


def _joined(rows: Sequence[Row]) -> list[Row]:
    """Both sides in one row where they say the same."""
    if len(rows) == 2 and rows[0].name == "treble side" and replace(rows[0], name=rows[1].name) == rows[1]:
        return [replace(rows[0], name="both sides")]
    return list(rows)


def note_at(hertz: float, reference: float) -> str:
    """The nearest note.

    Args:
        hertz: [Hz].
        reference: of A4 [Hz].
    Returns: its name.
    """
    return note_name(math.floor(note_number(hertz, reference) + 0.5))


def shown(key: Key, told: Told, reference: float, system: System, wanted: Wanted | None = None) -> str:
    """A reading as it stands on paper.

    Args:
        key: what was read.
        told: the reading.
        reference: of A4 [Hz].
        system: "inch" or "mm".
        wanted: the target a pitch is counted from, None: the nearest note.
    Returns: e.g. "1.75 ± 0.12 mm", "5/64 ± .005 in", "E4 +0.4 ± 1.0 c".
    """
    half = COVERAGE * told.u
    if key.what == "pitch":
        if wanted is not None:
            return f"{note_at(wanted.value, reference)} {_cents(off(key, told, wanted), half)}"
        place = note_number(told.value, reference)
        nearest = math.floor(place + 0.5)
        return f"{note_name(nearest)} {_cents(100.0 * (place - nearest), half)}"
    return _cents(told.value, half) if key.what == "octave error" else length(told.value, half, system, told.fraction)


def target(key: Key, wanted: Wanted, reference: float, system: System) -> str:
    """A target as it stands on paper.

    Args:
        key: what is wanted.
        wanted: the target.
        reference: of A4 [Hz].
        system: "inch" or "mm".
    Returns: e.g. "1.60 ± 0.25 mm", "E4 (329.63 Hz) ± 2 c".
    """
    if key.what == "pitch":
        within = show_value(wanted.tolerance, "cents")
        hertz = show_value(wanted.value, "pitch", uncertainty=HUNDREDTH)
        return f"{note_at(wanted.value, reference)} ({hertz}) ± {within}"
    if key.what == "octave error":
        return _cents(wanted.value, wanted.tolerance)
    return length(wanted.value, wanted.tolerance, system, wanted.fraction)


def _cents(value: float, half: float) -> str:
    text = show_band(value, max(half, FINEST["cents"]), "cents")
    return text if text[0] == MINUS or not text.partition(" ±")[0].strip("0.") else f"+{text}"


def length(value: float, half: float, system: System, fraction: bool) -> str:
    """A length with its ±: at a rule's mark where it was read off one, in decimals else.

    Args:
        value: [m].
        half: half width [m].
        system: "inch" or "mm".
        fraction: whether it was written as a fraction of an inch.
    Returns: the words.
    """
    if system == "mm":
        return show_band(value, max(half, FINEST["length"]), "length", system)
    thou = unit_size("length", "thou")
    steps = max(1, math.ceil(round(half / thou, 6)))
    mark = show_length(value, system, style="fraction") if fraction else ""
    if "/" in mark and "+" not in mark and MINUS not in mark[1:]:
        return f"{mark.removesuffix(' in')} ± {show_length(steps * thou, system, style='thou')}"
    return show_band(value, steps * thou, "length", system)


PLAIN = {
    "pitch": "Tuning", "first-fret clearance": "Strings over fret 1", "relief": "Hollow of the neck (relief)",
    "rear gap": "Bridge over the body, rear edge", "octave error": "Octaves at fret 12",
}  # fmt: skip
HALFTONE = 50.0  # cents, beyond which a string is at another note
HUNDREDTH = 0.05  # Hz, to which a wanted pitch is told: two places
PLENTY = 3e-5  # m, an owner is told no more than hundredths of a millimetre
RESULTS = {"inside": "as wanted", "outside": "outside", "not certain": "not certain"}


def measures_of(readings: Sequence[Reading], reference: float, system: System) -> tuple[Measure, ...]:
    """The readings in the owner's words: one line for each quantity and place.

    Args:
        readings: from `paper_rows.readings_of`.
        reference: of A4 [Hz].
        system: "inch" or "mm".
    Returns: the lines; what only a bench asks about is left out.
    """
    groups: dict[tuple[str, str], list[Reading]] = {}
    for one in readings:
        groups.setdefault(heading(one.key), []).append(one)
    out = []
    for (what, _), rows in groups.items():
        key = rows[0].key
        if key.what == "claw distance" or not any(one.found or one.left for one in rows):
            continue
        name = PLAIN.get(key.what, what)
        was, now = ([(told, one.wanted) for one, told in pairs] for pairs in (
            [(one, one.found) for one in rows], [(one, one.left) for one in rows],
        ))  # fmt: skip
        out.append(
            Measure(
                name, _over(key, was, reference, system, True), _asked(rows, system),
                _over(key, now, reference, system, False), _result(rows),
            )
        )  # fmt: skip
    return tuple(out)


def _over(
    key: Key, pairs: Sequence[tuple[Told | None, Wanted | None]], reference: float, system: System, before: bool
) -> str:
    """From the least to the most of one quantity, without its ±; a pitch by how far it is off."""
    told = [(one, wanted) for one, wanted in pairs if one is not None]
    if not told:
        return ""
    if key.what == "octave error":
        return f"within {_whole(max(abs(one.value) for one, _ in told))}"
    if key.what != "pitch":
        return _range([(one.value, one.u, one.fraction) for one, _ in told], system)
    most = max(abs(off(key, one, wanted)) for one, wanted in told if wanted is not None)
    if before and most > HALFTONE:
        return " ".join(note_at(one.value, reference) for one, _ in told)
    return f"within {_whole(most)}"


def _whole(cents: float) -> str:
    up = math.ceil(round(cents, 3))
    return f"{max(up, 1)} cent{'s' if up > 1 else ''}"


def _range(values: Sequence[tuple[float, float, bool]], system: System) -> str:
    u, fraction = max(one[1] for one in values), all(one[2] for one in values)
    low, high = (_bare(pick(one[0] for one in values), u, fraction, system) for pick in (min, max))
    if low == high:
        return low
    unit = low.rsplit(" ", 1)[-1]
    return f"{low.removesuffix(f' {unit}')} to {high}"


def _bare(value: float, u: float, fraction: bool, system: System) -> str:
    if system == "mm":
        return show_length(value, system, max(COVERAGE * u, PLENTY))
    mark = show_length(value, system, style="fraction") if fraction else ""
    exact = "/" in mark and "+" not in mark and MINUS not in mark[1:]
    return mark if exact else show_length(value, system, style="thou")


def _asked(rows: Sequence[Reading], system: System) -> str:
    wanted = [one.wanted for one in rows if one.wanted is not None]
    if not wanted:
        return ""
    if rows[0].key.what in ("pitch", "octave error"):
        return f"within {_whole(wanted[0].tolerance)}"
    return _range([(one.value, 0.5 * min(w.tolerance for w in wanted), one.fraction) for one in wanted], system)


def _result(rows: Sequence[Reading]) -> str:
    """What came of it."""
    judged = [one for one in rows if one.wanted is not None]
    if not judged:
        return ""
    words = [one.remark or RESULTS.get(one.verdict, "") for one in judged]
    if len(set(words)) == 1:
        return words[0]
    return ", ".join(f"{words.count(word)} {word}" for word in dict.fromkeys(words))
