"""Everything that can be read off an instrument, place by place, with what was read last and what is wanted there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.plans import reference_of
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job
from setwright.instrument.quantities import Amount
from setwright.metrology.gauges import GAUGES
from setwright.metrology.reading import Convention, Place
from setwright.records.entries import Entry, live

FRET, RELIEF = 12, (1, 8, 17)  # where nothing is said; common practice, no source


@frozen
class Habit:
    """How readings are taken, since the trade has no single way. fret: of string heights; low, at, high: of relief;
    straightedge: relief under one instead of a string; sides: the rear gap at both ends of the plate."""

    fret: int
    low: int
    at: int
    high: int
    straightedge: bool = False
    sides: bool = False


@frozen
class Spot:
    """One place. words: what the journal calls it; kind: of the value, "pitch" also takes cents from the wanted pitch.
    last: the live entry, None where it was not read yet; found: as in the job file, None where it is not there; wanted
    and tolerance: SI, the tolerance of a pitch in cents."""

    words: str
    label: str
    kind: str
    last: Entry | None = None
    found: Amount | None = None
    wanted: float | None = None
    tolerance: float | None = None


@frozen
class Group:
    """Places read one after another. how: the convention, in words; gauges: names of what may be used."""

    key: str
    title: str
    how: str
    spots: tuple[Spot, ...]
    gauges: tuple[str, ...]


@frozen
class Sheet:
    """What can be read. written: entries of the journal, struck ones included; last: the live ones, newest first;
    reference: pitch of A4 that notes are named by [Hz]."""

    job: Job
    habit: Habit
    groups: tuple[Group, ...]
    written: int
    last: tuple[Entry, ...]
    reference: float

    def spot(self, words: str) -> Spot:
        """The place the journal calls so.

        Raises: InputError where there is none.
        """
        for group in self.groups:
            for one in group.spots:
                if one.words == words:
                    return one
        raise InputError(f"{words[:60]!r} is no place that is read on this instrument.")


def habit_of(job: Job) -> Habit:
    """How the readings of a job were taken, or are wanted.

    Args:
        job: the job.
    Returns: the habit.
    """
    heights = job.want.string_height or job.found.string_height
    relief = job.want.relief or job.found.relief
    low, at, high = RELIEF if relief is None else (relief.hold[0], relief.read, relief.hold[1])
    gap = job.found.rear_gap
    return Habit(FRET if heights is None else heights.fret, low, at, high, False, gap is not None and gap[0] != gap[1])


def checked(job: Job, habit: Habit) -> Habit:
    """A habit the instrument has frets for.

    Args:
        job: the job.
        habit: as chosen.
    Returns: it.
    Raises: InputError in one sentence.
    """
    frets = job.instrument.frets
    if not 0 <= habit.fret <= frets:
        raise InputError(f"fret {habit.fret} does not exist; {job.instrument.name} has {frets}, check the number.")
    if not 1 <= habit.low < habit.at < habit.high <= frets:
        raise InputError(
            f"relief held at {habit.low} and {habit.high}, read at {habit.at}: these are to rise from the held fret to "
            f"the read one to the other held one, up to {frets}."
        )
    return habit


def readings_sheet(source: Source, habit: Habit | None = None) -> Sheet:
    """What can be read of a job's instrument.

    Args:
        source: path of the job file, or a visit in a shop.
        habit: how readings are taken; None: as in the job.
    Returns: the places.
    Raises: InputError, FileFormatError, QuestionableError: one sentence.
    """
    job = job_from(source)
    _, journal = open_journal(source, None, job)
    chosen = habit_of(job) if habit is None else checked(job, habit)
    newest = tuple(reversed(live(journal.entries)))
    groups = [_pitches(job), _heights(job, chosen), _relief(job, chosen), _octaves(job), _first_frets(job)]
    if job.instrument.bridge.knife_edge:
        groups[1:1] = [_gap(job, chosen), _claw(job)]
    groups.append(_climate())
    filled = tuple(_with_last(one, chosen, newest) for one in groups)
    reference = reference_of([one.si for one in job.want.tuning])
    return Sheet(job, chosen, filled, len(journal.entries), newest, reference)


def _gauges(kind: str) -> tuple[str, ...]:
    return tuple(name for name, gauge in GAUGES.items() if gauge.kind == kind)


def _each_string(job: Job, make: Callable[[int], Spot]) -> tuple[Spot, ...]:
    return tuple(make(one) for one in range(job.instrument.strings))


def _of(amounts: Sequence[Amount] | None, i: int) -> Amount | None:
    return None if amounts is None else amounts[i]


def _pitches(job: Job) -> Group:
    want, tolerance = job.want.tuning, job.want.pitch_tolerance.si
    spots = _each_string(
        job,
        lambda i: Spot(f"pitch string {i + 1}", f"string {i + 1}", "pitch", None, _of(job.found.pitches, i),
                       want[i].si, tolerance),
    )  # fmt: skip
    return Group("pitch", "Pitches", "Open strings as they stand; cents are counted from the wanted pitch.", spots,
                 _gauges("cents"))  # fmt: skip


def _gap(job: Job, habit: Habit) -> Group:
    wanted, tolerance = job.want.rear_gap, job.want.gap_tolerance
    si, within = (None, None) if wanted is None else (wanted.si, tolerance)
    found = job.found.rear_gap
    sides = ("treble", "bass") if habit.sides else ("",)
    spots = tuple(
        Spot(f"rear gap {side}".strip(), side or "middle", "length", None,
             _of(found, side == "bass"), si, within)
        for side in sides
    )  # fmt: skip
    return Group("rear gap", "Rear gap", "Rear edge of the plate over the body, at pitch.", spots, _gauges("length"))


def _claw(job: Job) -> Group:
    found = job.found.claw_distance
    spots = tuple(
        Spot(f"claw distance {side}", side, "length", None, _of(found, i)) for i, side in enumerate(("treble", "bass"))
    )
    return Group("claw distance", "Claw", "Hook line to the cavity wall, at both screws.", spots, _gauges("length"))


def _heights(job: Job, habit: Habit) -> Group:
    found, want = job.found.string_height, job.want.string_height
    was = found.amounts if found is not None and found.fret == habit.fret else None
    wish = want.amounts if want is not None and want.fret == habit.fret else None
    spots = _each_string(
        job,
        lambda i: Spot(f"string height string {i + 1} at fret {habit.fret}", f"string {i + 1}", "length", None,
                       _of(was, i), None if wish is None else wish[i].si, None if wish is None else wish[i].band),
    )  # fmt: skip
    how = f"Crown of fret {habit.fret} to the underside of the open string, at pitch, as it is played."
    return Group("string height", "String heights", how, spots, _gauges("length"))


def _relief(job: Job, habit: Habit) -> Group:
    way = (habit.low, habit.high)
    held = f"under a straightedge on {way[0]} and {way[1]}" if habit.straightedge else f"held at {way[0]} and {way[1]}"

    def of(bend: object) -> bool:
        same = getattr(bend, "hold", None) == way and getattr(bend, "read", None) == habit.at
        return same and not habit.straightedge

    found, want = job.found.relief, job.want.relief
    was = found.value if found is not None and of(found) else None
    wish = want.value if want is not None and of(want) else None
    spot = Spot(f"relief {held}, read at {habit.at}", f"fret {habit.at}", "length", None, was,
                None if wish is None else wish.si, None if wish is None else wish.band)  # fmt: skip
    how = "Straightedge" if habit.straightedge else "String"
    said = f"{how} {held.removeprefix('under a straightedge ')}, gap over the crown of fret {habit.at}, at pitch."
    return Group("relief", "Relief", said, (spot,), _gauges("length"))


def _octaves(job: Job) -> Group:
    found, want = job.found.octave, job.want.octave
    spots = _each_string(
        job,
        lambda i: Spot(f"octave error string {i + 1}", f"string {i + 1}", "cents", None, _of(found, i),
                       None if want is None else want.si, None if want is None else want.band),
    )  # fmt: skip
    how = "Held at fret 12 against the open string; sharp is above zero."
    return Group("octave error", "Octaves", how, spots, _gauges("cents"))


def _first_frets(job: Job) -> Group:
    spots = _each_string(job, lambda i: Spot(f"first-fret clearance string {i + 1}", f"string {i + 1}", "length"))
    how = "Crown of fret 1 to the underside of the open string."
    return Group("first-fret clearance", "Clearance at fret 1", how, spots, _gauges("length"))


def _climate() -> Group:
    spots = (Spot("temperature", "temperature", "temperature"), Spot("humidity", "humidity", "ratio"))
    return Group("climate", "Climate", "Air at the bench.", spots, ())


def _with_last(group: Group, habit: Habit, newest: Sequence[Entry]) -> Group:
    return replace(group, spots=tuple(replace(one, last=_last(one, habit, newest)) for one in group.spots))


def _last(spot: Spot, habit: Habit, newest: Sequence[Entry]) -> Entry | None:
    """The newest live reading at a place; of a pitch also what was heard when the string was tuned."""
    return next((one for one in newest if _is_of(one, spot, habit)), None)


def _is_of(entry: Entry, spot: Spot, habit: Habit) -> bool:
    if entry.what == "tune" and spot.kind == "pitch":
        return spot.words == f"pitch string {entry.place.string}"
    if entry.verb != "read" or not spot.words.startswith(entry.what) or entry.value is None:
        return False
    relief = Convention(habit.low, habit.high, habit.at, habit.straightedge)
    if entry.what == "relief":
        return entry.convention == relief and entry.place == Place()
    rest = spot.words.removeprefix(entry.what).split()
    said = dict(pairwise(rest))
    fret = int(said["fret"]) if "fret" in said else None
    string = int(said["string"]) if "string" in said else None
    side = rest[0] if rest and rest[0] in ("treble", "bass") else ""
    return entry.place == Place(fret, string, side) and entry.convention == Convention()


def said_of(spot: Spot, amount: str, gauge: str = "") -> str:
    """The words for the journal.

    Args:
        spot: the place.
        amount: as typed, with its unit.
        gauge: what it was read with, "" when not said.
    Returns: e.g. "read rear gap = 2.6 mm with rule 0.5 mm".
    """
    return f"read {spot.words} = {amount}{f' with {gauge}' if gauge else ''}"
