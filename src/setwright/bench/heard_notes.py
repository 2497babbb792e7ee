"""Notes of a take against their open string: the cents map that was heard, the octave check, and the length screws.

Like is held against like: first partial against first partial. A harmonic at fret 12 is the open string's second
partial, which stiffness puts 600 log2((1 + 4 B) / (1 + B)) cents above the octave of the first; a note held there is no
sharper for that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from setwright.errors import SetwrightError
from setwright.frozen import frozen
from setwright.physics.pitch import CENTS_PER_LOG

if TYPE_CHECKING:
    from setwright.bench.journals import Source
    from setwright.bench.notes import Octave
    from setwright.bench.standing import Banded
    from setwright.instrument.jobfile import Job
    from setwright.instrument.settings import Settings
    from setwright.instrument.traits import Array
    from setwright.listening.takes import Heard
    from setwright.planning.found import AsFound
    from setwright.records.entries import Entry

Verdict = Literal["inside", "outside", "cannot be told"]

WIDE = 1.96  # standard uncertainties in a band that holds 95 %, of a normal distribution
PRESSED = 0.5  # cents, how alike two presses of one finger are; common practice, no source
UNREAD = 3.0  # cents, standard uncertainty of an octave nobody heard; common practice, no source
LET_PASS = 2.0  # cents, what most ears let pass, where a job asks for nothing; common practice, no source
OCTAVE = 12  # fret
TURNS_OCTAVE = ("saddle length", "saddle height", "pivot", "rod", "springs", "strings changed", "step", "claw", "wedge")


@frozen
class Interval:
    """A note against the open string before it. at: its onset [s]. off: cents from the tempered note its fret makes of
    the open string's first partial, sharp > 0. by_stiffness: of a harmonic, where stiffness alone puts it [cents].
    verdict: of a held note against the tolerance; "" for a harmonic and for a doubtful note."""

    string: int
    fret: int
    kind: str
    at: float
    off: Banded
    by_stiffness: float | None = None
    verdict: Verdict | Literal[""] = ""
    doubt: str = ""


@frozen
class Apart:
    """Note held at fret 12 less the harmonic there [cents]. told: whether they can be told apart."""

    string: int
    cents: Banded
    told: bool


@frozen
class HeardMap:
    """The cents map of a take. target, tolerance: what held notes are judged by [cents]. asked: whether the job asks
    for that, else it is what most ears let pass. saddles: what the length screws have to do; () without a job. silent:
    why there are none where notes held at fret 12 were heard; "" otherwise."""

    intervals: tuple[Interval, ...]
    apart: tuple[Apart, ...]
    target: float
    tolerance: float
    asked: bool
    saddles: tuple[Octave, ...] = ()
    silent: str = ""


def heard_map(
    notes: Sequence[Heard], target: float = 0.0, tolerance: float = LET_PASS, asked: bool = False
) -> HeardMap:
    """Every note of a take against its open string.

    Args:
        notes: of the take, in its order.
        target: cents aimed at.
        tolerance: half width about it, > 0 [cents].
        asked: whether somebody asked for that.
    Returns: the map; notes whose string was not heard open are left out.
    """
    from setwright.bench.standing import Banded

    out = []
    for i, one in enumerate(notes):
        if one.string is None or not one.fret or one.note.first_partial is None:
            continue
        opened = _open_for(notes, i)
        if opened is None or opened.note.first_partial is None:
            continue
        off = CENTS_PER_LOG * math.log(one.note.first_partial / opened.note.first_partial) - 100.0 * one.fret
        sd = math.hypot(_sd(one), _sd(opened), 0.0 if one.kind == "harmonic" else PRESSED)
        held = one.kind != "harmonic"
        out.append(
            Interval(
                one.string, one.fret, one.kind or "", one.note.start, Banded(off, WIDE * sd),
                None if held else _by_stiffness(opened),
                _verdict(off, sd, target, tolerance) if held and not one.doubt else "", one.doubt,
            )
        )  # fmt: skip
    return HeardMap(tuple(out), _apart(out), target, tolerance, asked)


def heard_map_of(job: Job, notes: Sequence[Heard], entries: Sequence[Entry] = ()) -> HeardMap:
    """The same for the instrument of a job, and what its length screws have to do.

    Args:
        job: as read from its file.
        notes: of the take.
        entries: live ones of the journal that came before it; they tell where the saddles stand by now.
    Returns: the map; without saddles and with the reason where the job's found readings cannot all be true.
    """
    want = job.want.octave
    target, tolerance = (0.0, LET_PASS) if want is None else (want.si, want.band)
    found = heard_map(notes, target, tolerance, want is not None)
    octaves = _octaves(found.intervals)
    if not octaves:
        return found
    try:
        return replace(found, saddles=_saddles(job, octaves, target, entries))
    except SetwrightError as error:  # what was heard is true all the same
        return replace(found, silent=str(error))


def with_heard(job: Job, entries: Sequence[Entry]) -> tuple[Job, tuple[str, ...]]:
    """A job whose octave errors as found are those its journal has heard, where its file names none.

    Only what was heard before anything was turned that an octave depends on tells how it was found.

    Args:
        job: as read from its file.
        entries: live ones of the journal.
    Returns: the job, and what should be said of it.
    """
    from setwright.instrument.quantities import amount

    heard = _as_found(entries)
    if job.found.octave is not None or job.found.state != "at pitch" or not heard:
        return job, ()
    count = len(job.found.tuning)
    lacking = [s for s in range(1, count + 1) if s not in heard]
    values = [heard.get(s, (0.0, UNREAD)) for s in range(1, count + 1)]
    octave = tuple(amount(f"{cents:.3f} c ± {sd:.3f} c", "cents") for cents, sd in values)
    said = f"Octave errors as found are those heard of {_listed(sorted(heard))}, by the journal."
    if lacking:
        said += f" Of {_listed(lacking)} none was heard: taken as right within {WIDE * UNREAD:.0f} c."
    return replace(job, found=replace(job.found, octave=octave)), (said,)


def read_with_heard(job: Source) -> tuple[Job, tuple[str, ...]]:
    """A job with what the journal beside it has heard of its octaves.

    Args:
        job: path of the job file, or a visit in a shop.
    Returns: the job, and what should be said of it.
    Raises: FileFormatError, InputError, QuestionableError for files that cannot be used.
    """
    from setwright.bench.journals import job_from, open_journal
    from setwright.records.entries import live

    read = job_from(job)
    if read.found.octave is not None or read.found.state != "at pitch":
        return read, ()
    return with_heard(read, live(open_journal(job, None, read)[1].entries))


def _open_for(notes: Sequence[Heard], i: int) -> Heard | None:
    """The open note of the same string that came last before a note, else the first after it."""
    ours = [
        (k, one)
        for k, one in enumerate(notes)
        if one.kind == "open" and one.string == notes[i].string and not one.doubt and one.note.first_partial_sd
    ]
    before = [one for k, one in ours if k < i]
    return before[-1] if before else ours[0][1] if ours else None


def _sd(one: Heard) -> float:
    return one.note.first_partial_sd or 0.0


def _by_stiffness(opened: Heard) -> float | None:
    b = opened.note.inharmonicity
    return None if b is None else 0.5 * CENTS_PER_LOG * math.log((1.0 + 4.0 * b) / (1.0 + b))


def _verdict(off: float, sd: float, target: float, tolerance: float) -> Verdict:
    from setwright.metrology import conformity

    decided = conformity.decide(off, sd, conformity.tolerance_about(target, tolerance)).verdict
    names: dict[conformity.Verdict, Verdict] = {
        conformity.Verdict.MEETS: "inside", conformity.Verdict.DOES_NOT_MEET: "outside",
    }  # fmt: skip
    return names.get(decided, "cannot be told")


def _apart(intervals: Sequence[Interval]) -> tuple[Apart, ...]:
    """Held note and harmonic of every string that has both, the last of each."""
    from setwright.bench.standing import Banded

    out = []
    for string in sorted({one.string for one in intervals}):
        ours = {one.kind: one for one in intervals if one.string == string and one.fret == OCTAVE and not one.doubt}
        if "harmonic" in ours and "fretted" in ours:
            held, harmonic = ours["fretted"].off, ours["harmonic"].off
            value, half = held.value - harmonic.value, math.hypot(held.half_width, harmonic.half_width)
            out.append(Apart(string, Banded(value, half), abs(value) > half))
    return tuple(out)


def _octaves(intervals: Sequence[Interval]) -> dict[int, tuple[float, float]]:
    """Octave error of every string with its standard uncertainty [cents], from notes surely held at fret 12."""
    pairs: dict[int, list[tuple[float, float]]] = {}
    for one in intervals:
        if one.fret == OCTAVE and one.kind == "fretted" and not one.doubt:
            pairs.setdefault(one.string, []).append((one.off.value, one.off.half_width / WIDE))
    return {string: _mean(each) for string, each in pairs.items()}


def _mean(pairs: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean weighed by variances, and its standard uncertainty: where readings scatter more than they should, theirs."""
    value, sd = (np.array(column) for column in zip(*pairs, strict=True))
    weight = 1.0 / sd**2
    mean = float((weight * value).sum() / weight.sum())
    chi = float((weight * (value - mean) ** 2).sum()) / max(len(pairs) - 1, 1)
    return mean, float(math.sqrt(max(chi, 1.0) / weight.sum()))


def _as_found(entries: Sequence[Entry]) -> dict[int, tuple[float, float]]:
    """Octave error of every string as found [cents, standard uncertainty], by what was read before anything was turned.

    A note held at fret 12 is compared with the open string of the same recording (or both typed) that was read last
    before it, else first after it, its peg not turned in between."""
    opened: dict[int, list[tuple[int, Entry]]] = {}
    held: list[tuple[int, Entry]] = []
    pairs: dict[int, list[tuple[float, float]]] = {}
    turned: dict[int, int] = {}  # how often the peg of a string was turned before
    for one in entries:
        if one.verb == "did" and (one.what in TURNS_OCTAVE or one.what.endswith(" shim")):
            break
        string, value = one.place.string, one.value
        if string is None or value is None or "slack" in one.said:
            continue
        if one.what == "tune":
            turned[string] = turned.get(string, 0) + 1
        elif one.what == "octave error":
            pairs.setdefault(string, []).append((value.si, math.hypot(value.standard_uncertainty or 0.0, PRESSED)))
        elif one.what == "pitch" and value.kind == "pitch" and not one.place.harmonic:
            if one.place.fret is None:
                opened.setdefault(string, []).append((turned.get(string, 0), one))
            elif one.place.fret == OCTAVE:
                held.append((turned.get(string, 0), one))
    for times, one in held:
        string = one.place.string or 0
        ours = [each for count, each in opened.get(string, []) if count == times and each.sha256 == one.sha256]
        base = next((each for each in reversed(ours) if each.number < one.number), ours[0] if ours else None)
        if base is not None:
            pairs.setdefault(string, []).append(_octave_of(one, base))
    return {string: _mean(each) for string, each in pairs.items()}


def _octave_of(held: Entry, opened: Entry) -> tuple[float, float]:
    """A note held at fret 12 over the octave of the open string, and its standard uncertainty [cents]."""
    assert held.value is not None
    assert opened.value is not None
    off = CENTS_PER_LOG * math.log(held.value.si / opened.value.si) - 1200.0
    own = [(one.standard_uncertainty or 0.0) / one.si for one in (held.value, opened.value)]
    return off, math.hypot(CENTS_PER_LOG * math.hypot(*own), PRESSED)


def _saddles(
    job: Job, octaves: dict[int, tuple[float, float]], target: float, entries: Sequence[Entry]
) -> tuple[Octave, ...]:
    """What every length screw has to do about the octave that was heard."""
    from setwright.bench.notes import AUDIBLE, Octave
    from setwright.bench.plans import problem_from
    from setwright.bench.standing import Banded
    from setwright.physics.fretting import remedies, saddle_move
    from setwright.planning.found import settle_found

    found = settle_found(problem_from(job))
    bridge = found.problem.wanted.bridge
    lead, travel = float(np.min(bridge.length_lead)), np.reshape(bridge.length_range, (-1, 2))[0]
    per, stands = _per_metre(found), _stand(found, entries)
    out = []
    for string, (error, sd) in sorted(octaves.items()):
        off, slope = error - target, float(per[string - 1])
        still = abs(off) < AUDIBLE
        move = saddle_move(off, slope, lead, travel, float(stands.saddle_back[..., string - 1].ravel()[0]), sd)
        missing = 0.0 if still else float(move.missing)
        out.append(
            Octave(
                string=string, error=Banded(error, WIDE * sd), per_metre=slope, way="stay" if still else str(move.way),
                move=Banded(float(move.move), WIDE * float(abs(move.band))),
                turns=Banded(float(move.turns), WIDE * float(abs(move.turns_band))),
                sure=abs(off) > WIDE * sd, enough=still or bool(move.enough), reached=float(move.reached),
                missing=missing, left=0.0 if still else float(move.left), remedies=remedies(missing),
            )
        )  # fmt: skip
    return tuple(out)


def _per_metre(found: AsFound) -> Array:
    """(S) cents an octave error changes by when the saddle goes back, the open string brought back to pitch [1/m]."""
    from setwright.bench.notes import finger_of, layout_of, wires_of
    from setwright.bench.standing import Standing
    from setwright.instrument.predict import tune_at
    from setwright.physics.fretting import octave_sensitivity
    from setwright.planning.solve import as_batch

    problem = found.problem
    traits, hertz = problem.wanted, problem.targets.hertz
    tuned = tune_at(traits, as_batch(problem.found.settings, 1), hertz, np.atleast_1d(found.tilt))
    one = Standing("as it stands", traits, tuned.settings, tuned.rig, tuned.state, hertz)
    slopes: Array = octave_sensitivity(layout_of(one), wires_of(one), *finger_of(traits))[0]
    return slopes


def _stand(found: AsFound, entries: Sequence[Entry]) -> Settings:
    """Settings as found, moved by what the journal has done."""
    from setwright.bench.replay import moved

    settings = found.problem.found.settings
    for one in entries:
        if one.verb == "did" and one.what == "saddle length":
            settings = moved(found.problem.wanted, settings, one, 0.0)
    return settings


def _listed(numbers: Sequence[int]) -> str:
    """Strings in words: "string 4", "strings 1, 2 and 5", "strings 1 to 6"."""
    names = [str(one) for one in numbers]
    if len(names) == 1:
        return f"string {names[0]}"
    if len(names) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"strings {names[0]} to {names[-1]}"
    return f"strings {', '.join(names[:-1])} and {names[-1]}"
