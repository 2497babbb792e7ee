"""What a sheet says of every reading: as found, wanted, as left, and whether it is inside.

As found is what the job file holds, else the first reading that nothing done before it could spoil. As left is the last
reading in the playing state that nothing done after it spoils; a row without one says that it was not read again.
± on paper is the expanded uncertainty U = 2 u; verdicts after ISO 14253-1 with the same U (`metrology.conformity`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from setwright.frozen import frozen
from setwright.instrument.jobfile import Job
from setwright.instrument.quantities import Amount
from setwright.metrology import conformity
from setwright.metrology.gauges import gauge_named
from setwright.metrology.reading import ATTITUDES, gauge_uncertainty
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.records.entries import Entry, Value
from setwright.records.worth import HAND, OF_ONE_STRING, USUAL, spoils
from setwright.sheets.sheet import Verdict

COVERAGE = 2.0  # k of U = k u
OCTAVE = 12  # fret
PRESSED = 0.5  # cents, how alike two presses of one finger are; common practice, no source
FINEST = {"length": 1e-5, "cents": 0.1}  # below these no ± is told
ORDER = ("pitch", "string height", "first-fret clearance", "relief", "rear gap", "claw distance", "octave error")
SIDED = ("rear gap", "claw distance")
NOT_AGAIN = "not read again"
OTHERS_SINCE = "others tuned since"
WEDGED = "with the wedge in"


@frozen
class Key:
    """What was read, where and how. how: fret held, fret held, fret read, straightedge, capo."""

    what: str
    string: int = 0
    fret: int = 0
    side: str = ""
    how: tuple[int, int, int, bool, int] = (0, 0, 0, False, 0)


@frozen
class Told:
    """A reading. value: SI, Hz of a pitch, cents of an octave error. u: standard uncertainty, cents of a pitch. at:
    its place among the entries, -1 of the job file. fraction: written as a fraction of an inch."""

    value: float
    u: float
    at: int = -1
    fraction: bool = False


@frozen
class Wanted:
    """A target and the half width of its tolerance; of a pitch in Hz and cents."""

    value: float
    tolerance: float
    fraction: bool = False


@frozen
class Reading:
    """All that is known of one thing read."""

    key: Key
    found: Told | None
    wanted: Wanted | None
    left: Told | None
    remark: str
    verdict: Verdict


def readings_of(job: Job, entries: Sequence[Entry]) -> tuple[Reading, ...]:
    """Everything read or wanted, in the order of the paper.

    Args:
        job: as read from its file.
        entries: live ones of its journal, in their order.
    Returns: the readings; notes of the fretboard other than at fret 12 are left to the journal.
    """
    heard = _both_sided(_heard(job, entries))
    was, want = _as_found(job), _wanted(job)
    told_of: dict[Key, list[Told]] = {key: [] for key in (*want, *was)}
    for key, one in heard:
        told_of.setdefault(key, []).append(one)
    rows = [_reading(key, job, entries, found, was, want) for key, found in told_of.items()]
    told = [one for one in rows if one.found or one.wanted or one.left]
    return tuple(sorted(told, key=lambda one: _place(one.key)))


def _place(key: Key) -> tuple[object, ...]:
    return (ORDER.index(key.what), key.fret, key.how, key.side != "treble", key.string)


def _reading(
    key: Key, job: Job, entries: Sequence[Entry], told: list[Told], was: dict[Key, Told], want: dict[Key, Wanted]
) -> Reading:
    did = [(i, one) for i, one in enumerate(entries) if one.verb == "did"]
    spoilt = [i for i, one in did if _spoils(one, key)]
    tuned = [i for i, one in did if one.what == "tune" and key.what == "pitch"]
    first = next((one for one in told if not any(i <= one.at for i in [*spoilt, *tuned])), None)
    last = next((one for one in reversed(told) if not any(i > one.at for i in spoilt)), None) if did else None
    found, wanted, remark = was.get(key) or first, want.get(key), ""
    floats = job.want.bridge == "floating" and key.what in (*SIDED[:1], "pitch", *OF_ONE_STRING)
    if did and last is None:
        remark = NOT_AGAIN
    elif last is not None and floats and _wedged(entries[: last.at + 1]):
        remark = WEDGED
    elif last is not None and floats and any(i > last.at for i in tuned):
        remark = OTHERS_SINCE
    verdict: Verdict = ""
    if wanted is not None and last is not None:
        verdict = "not certain" if remark else _verdict(key, last, wanted)
    return Reading(key, found, wanted, last, remark, verdict)


def _wedged(entries: Sequence[Entry]) -> bool:
    """Whether the wedge was under the plate at the last of some entries."""
    said = [word for word in entries[-1].said if word.startswith("wedge ")]
    last = next((one.way for one in reversed(entries) if one.verb == "did" and one.what == "wedge"), "out")
    return said[0] == "wedge in" if said else last.startswith("in")


def _spoils(did: Entry, key: Key) -> bool:
    return spoils(did.what, did.way, did.place.string, did.heard is not None, key.what, key.string)


def _verdict(key: Key, left: Told, wanted: Wanted) -> Verdict:
    apart = off(key, left, wanted)
    decided = conformity.decide(apart, left.u, conformity.tolerance_about(0.0, wanted.tolerance), COVERAGE).verdict
    words: dict[conformity.Verdict, Verdict] = {
        conformity.Verdict.MEETS: "inside", conformity.Verdict.DOES_NOT_MEET: "outside",
    }  # fmt: skip
    return words.get(decided, "not certain")


def off(key: Key, told: Told, wanted: Wanted) -> float:
    """How far a reading is off its target.

    Args:
        key: what was read.
        told: the reading.
        wanted: the target.
    Returns: cents of a pitch or an octave error, else SI.
    """
    if key.what == "pitch":
        return CENTS_PER_LOG * math.log(told.value / wanted.value)
    return told.value - wanted.value


def _heard(job: Job, entries: Sequence[Entry]) -> list[tuple[Key, Told]]:
    """Every reading of the journal made as the instrument is played; octaves also from notes held at fret 12."""
    out: list[tuple[Key, Told]] = []
    opened: dict[int, Told] = {}
    attitude, first = job.found.attitude, True
    for at, one in enumerate(entries):
        if one.verb == "did" and one.what == "attitude":
            attitude, first = one.way, False
        if "slack" in one.said or not _stands_as_played(one, attitude, job, first):
            continue
        value = one.heard if one.what == "tune" else one.value
        string = one.place.string or 0
        if value is None or (one.verb != "read" and one.what != "tune"):
            continue
        if one.what in ("pitch", "tune"):
            told = _pitch(job, value, string, at, one.gauge)
            if one.place.fret is None:
                opened[string] = told
                out.append((Key("pitch", string), told))
            elif one.place.fret == OCTAVE and not one.place.harmonic and string in opened:
                out.append((Key("octave error", string), _octave(told, opened[string])))
        elif one.what in ORDER:
            out.append((_key(one), Told(value.si, _uncertainty(one.what, value, one.gauge), at, "/" in value.written)))
    return out


def _stands_as_played(one: Entry, attitude: str, job: Job, first: bool) -> bool:
    """Whether an entry was made in the attitude that is wanted; before that was ever changed, in the one as found."""
    stood = next((word for word in one.said if word in ATTITUDES), attitude)
    return stood == job.want.attitude or (first and stood == job.found.attitude)


def _key(one: Entry) -> Key:
    how, place = one.convention, one.place
    held = (how.hold_low or 0, how.hold_high or 0, how.read_at or 0, how.straightedge, how.capo or 0)
    return Key(one.what, place.string or 0, place.fret or 0, place.side, held)


def _pitch(job: Job, value: Value, string: int, at: int, gauge: str) -> Told:
    """A pitch in Hz, its uncertainty in cents."""
    u = value.standard_uncertainty or 0.0
    if value.kind == "cents":
        hertz = job.want.tuning[string - 1].si * math.exp(value.si / CENTS_PER_LOG)
    else:
        hertz, u = value.si, CENTS_PER_LOG * u / value.si
    return Told(hertz, _at_least_usual("pitch", u, value, gauge), at)


def _octave(held: Told, opened: Told) -> Told:
    off = CENTS_PER_LOG * math.log(held.value / opened.value) - 1200.0
    return Told(off, math.hypot(held.u, opened.u, PRESSED), held.at)


def _uncertainty(what: str, value: Value, gauge: str) -> float:
    """As written or of the gauge named; without either the usual gauge's, or step and hand of it together."""
    u = value.standard_uncertainty or 0.0
    if what in USUAL or gauge or _stated(value):
        return _at_least_usual(what, u, value, gauge)
    return math.hypot(u, gauge_named(HAND[what]).repeatability)


def _at_least_usual(what: str, u: float, value: Value, gauge: str) -> float:
    return u if gauge or _stated(value) else max(u, gauge_uncertainty(gauge_named(USUAL[what])))


def _stated(value: Value) -> bool:
    return "±" in value.written or "+" in value.written


def _both_sided(heard: list[tuple[Key, Told]]) -> list[tuple[Key, Told]]:
    """A reading without a side stands for both."""
    out: list[tuple[Key, Told]] = []
    for key, told in heard:
        sides = ("treble", "bass") if key.what in SIDED and not key.side else (key.side,)
        out += [(replace(key, side=side), told) for side in sides]
    return out


def _as_found(job: Job) -> dict[Key, Told]:
    """What the job file holds as found."""
    found = job.found
    out: dict[Key, Told] = {}
    for what, pair in (("rear gap", found.rear_gap), ("claw distance", found.claw_distance)):
        if pair is not None:
            out |= {Key(what, side=side): _told(one) for side, one in zip(("treble", "bass"), pair, strict=True)}
    for i, one in enumerate(found.pitches or (), start=1):
        out[Key("pitch", i)] = Told(one.si, CENTS_PER_LOG * one.band / one.si)
    for i, one in enumerate(found.octave or (), start=1):
        out[Key("octave error", i)] = _told(one)
    if found.string_height is not None:
        for i, one in enumerate(found.string_height.amounts, start=1):
            out[Key("string height", i, found.string_height.fret)] = _told(one)
    if found.relief is not None:
        out[_relief(found.relief.hold, found.relief.read)] = _told(found.relief.value)
    return out


def _told(one: Amount) -> Told:
    return Told(one.si, one.band, fraction=one.written.as_fraction)


def _relief(hold: tuple[int, int], read: int) -> Key:
    return Key("relief", how=(*hold, read, False, 0))


def _wanted(job: Job) -> dict[Key, Wanted]:
    """What the job asks for, with its tolerances."""
    want = job.want
    tolerance = want.pitch_tolerance.si
    out = {Key("pitch", i): Wanted(one.si, tolerance) for i, one in enumerate(want.tuning, start=1)}
    if want.string_height is not None:
        for i, one in enumerate(want.string_height.amounts, start=1):
            out[Key("string height", i, want.string_height.fret)] = _aim(one)
    if want.relief is not None:
        out[_relief(want.relief.hold, want.relief.read)] = _aim(want.relief.value)
    if want.rear_gap is not None and want.bridge in ("floating", "blocked"):
        aim = replace(_aim(want.rear_gap), tolerance=want.gap_tolerance)
        out |= {Key("rear gap", side=side): aim for side in ("treble", "bass")}
    if want.octave is not None:
        out |= {Key("octave error", i): _aim(want.octave) for i in range(1, len(want.tuning) + 1)}
    return out


def _aim(one: Amount) -> Wanted:
    return Wanted(one.si, one.band, one.written.as_fraction)
