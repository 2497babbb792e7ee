"""Planning a job: from a job file to the planner's problem, and to the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from setwright.bench.written_in import preferred_system as preferred_system
from setwright.errors import InputError
from setwright.instrument.assemble import assemble, untouched
from setwright.instrument.carried import carried, still_holds
from setwright.instrument.files import InstrumentFile
from setwright.instrument.geometry import edge_gap
from setwright.instrument.jobfile import HEIGHT_TOLERANCE, Job, Pair
from setwright.instrument.jobfile import Shim as JobShim
from setwright.instrument.prior import Prior, Uncertain, prior
from setwright.instrument.settings import Settings
from setwright.instrument.string_sets import Gauge, string_parts, strings_from
from setwright.instrument.strokes import farthest_stroke
from setwright.instrument.traits import Array, Traits, array
from setwright.planning.choices import shim_totals
from setwright.planning.found import AsFound, settle_found
from setwright.planning.plan import Plan
from setwright.planning.targets import (
    BridgeMode,
    FoundReading,
    FoundState,
    Limits,
    Problem,
    ReliefTarget,
    Shelf,
    Shim,
    ShimKind,
    Stroke,
    Targets,
    UpBend,
    spring_mask,
)
from setwright.telling import Tell, untold, within
from setwright.units.pitch import A4

SAMPLES = 512
SAME = 1e-4  # semitone, strings tuned by the same reference
RADIUS_TOLERANCE = 0.0254  # m; common practice, no source
_MODES: dict[str, BridgeMode] = {
    "floating": "floating", "decked": "decked", "dive-only": "dive-only", "blocked": "blocked", "fixed": "fixed",
}  # fmt: skip
_SHIMS: dict[str, ShimKind] = {"strip": "strip", "wedge": "wedge", "flat": "flat"}


def plan_job(job: Job, samples: int = SAMPLES, seed: int = 0, tell: Tell = untold) -> Plan:
    """Plan a job.

    Args:
        job: as read from its file.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        tell: takes the share of the work that is done, often; what it raises ends the work.
    Returns: the plan, with a remark for everything in the job that planning leaves out.
    Raises: ContradictionError where the found readings cannot all be true; NoPlanError where nothing will do.
    """
    tell(0.0)
    return plan_found(job, settle_found(problem_from(job)), samples, seed, within(tell, 0.05, 1.0))


def plan_found(job: Job, found: AsFound, samples: int = SAMPLES, seed: int = 0, tell: Tell = untold) -> Plan:
    """Plan a job whose instrument agrees with what was found already.

    Args:
        job: as read from its file.
        found: its problem as `settle_found` leaves it.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        tell: as of `plan_job`.
    Returns: as `plan_job`.
    Raises: NoPlanError where nothing will do.
    """
    from setwright.planning.search import plan_as_found

    _claw_is_known(job)
    plan = plan_as_found(found, samples, seed, tell)
    reference = reference_of([one.si for one in job.want.tuning])
    return replace(plan, remarks=(*plan.remarks, *left_out(job), *begins_with(job)), reference=reference)


def problem_from(job: Job) -> Problem:
    """The planner's problem of a job.

    Args:
        job: as read from its file.
    Returns: nominal instrument with the found and with the wanted strings, what is uncertain, as found, as wanted.
    Raises: InputError, RangeError where the instrument cannot be put together.
    """
    ready = assemble(_as_found(job), job.found.strings)
    traits = _with_room(job, ready.traits)
    parts = ready.prior.parts + _claw_part(job, traits)
    another = _bought(job.want.strings) != _bought(job.found.strings)
    known = _known(parts + (_wanted_parts(job.want.strings) if another else ()))
    if job.learned is not None:
        traits, known = carried(job.learned, job.years_since, traits, known, job.found.springs)
    wanted = replace(traits, strings=strings_from(job.want.strings)) if another else traits
    return Problem(
        traits=traits,
        wanted=wanted,
        known=known,
        found=_found(job, traits),
        targets=_targets(job, traits),
        shelf=_shelf(job),
        limits=Limits(peak=job.limits.peak.si, stress=job.limits.stress.si),
        title=job.title,
        instrument=job.instrument.name,
    )


def begins_with(job: Job) -> tuple[str, ...]:
    """What the picture of a job begins with, where an earlier visit has learned something.

    Args:
        job: of a visit.
    Returns: a sentence, nothing where nothing is carried on.
    """
    if job.learned is None:
        return ()
    first = problem_from(replace(job, learned=None))
    kept = still_holds(job.learned, first.traits, first.known, job.found.springs)
    if not kept:
        return ()
    springs = "springs, " if any(first.known.parts[j].path.startswith("springs.") for _, j in kept) else ""
    months = round(12.0 * job.years_since)
    ago = f"{job.years_since:.1f} years" if months > 18 else f"{months} month{'s' * (months != 1)}"
    return (
        f"Of {springs}levers and neck this begins with what an earlier visit learned, {ago} ago, less sure with the "
        "time; strings, claw and heights are taken as read now.",
    )


def reference_of(hertz: Sequence[float]) -> float:
    """Pitch of A4 by which every string is a note of equal temperament; 440 Hz where there is none.

    Args:
        hertz: (S) of a tuning [Hz].
    Returns: [Hz].
    """
    off = [12.0 * float(np.log2(one / A4)) for one in hertz]
    off = [one - round(one) for one in off]
    return A4 * 2.0 ** (off[0] / 12.0) if max(off) - min(off) < SAME else A4


def _claw_is_known(job: Job) -> None:
    """Refuse to plan claw turns from a claw whose place nobody read, unless a floating balance tells it."""
    found = job.found
    told = found.claw_distance is not None or (found.bridge == "floating" and found.state == "at pitch")
    if job.instrument.bridge.knife_edge and job.want.bridge in ("floating", "decked", "dive-only") and not told:
        raise InputError(
            f"{_where(job, 'claw_distance')}: not read, and nothing else tells where the claw stands; claw turns count "
            'from it: read the hook line to the cavity wall, for instance claw_distance = "15 mm ± 0.5 mm".'
        )


def found_settings(job: Job, traits: Traits) -> Settings:
    """How every screw stands as found; the pegs are left open.

    Args:
        job: the job.
        traits: its instrument.
    Returns: the settings.
    """
    found = job.found
    strip, wedge, flat = shim_totals(_shims(found.shims))
    settings = replace(
        untouched(traits),
        strip=array(strip),
        wedge_shim=array(wedge),
        flat=array(flat),
        attitude=found.attitude,
        temperature=found.temperature,
    )
    if found.claw_distance is not None:
        settings = replace(settings, claw=array([one.si for one in found.claw_distance]))
    if found.springs:
        settings = replace(settings, springs=spring_mask(traits, found.springs))
    if found.bridge == "blocked":
        settings = replace(settings, block=array(_blocked_at(job, traits, settings)))
    return settings


def left_out(job: Job) -> tuple[str, ...]:
    """What a job asks for, or has on its shelf, that planning does not take into account.

    Args:
        job: the job.
    Returns: sentences.
    """
    out = []
    others = sorted({s.kind for s in job.shop.springs if s.count and s.kind != job.instrument.springs.name})
    if others and job.instrument.bridge.knife_edge:
        out.append(
            f"Springs of another kind on the shelf ({', '.join(others)}) are left out: mixed springs are not worked "
            "out; write springs.kind in the instrument file to plan with another kind."
        )
    want, found = job.want.relief, job.found.relief
    if want is not None and found is None:
        out.append(
            "A relief is wanted but none was read as found: read it, and write found.relief to plan the truss rod."
        )
    return tuple(out)


def _as_found(job: Job) -> InstrumentFile:
    """The instrument, its pivots at the height read in this job."""
    pivots = job.found.pivot_height
    if pivots is None:
        return job.instrument
    key = ("bridge", "pivot_height")
    return replace(
        job.instrument,
        given=MappingProxyType({**job.instrument.given, key: pivots}),
        places=MappingProxyType({**job.instrument.places, key: _where(job, "pivot_height")}),
    )


def _with_room(job: Job, traits: Traits) -> Traits:
    """Saddle rooms as read: (2) when all strings have the same, else (S, 2)."""
    room = job.found.saddle_room
    if room.up is None and room.down is None:
        return traits
    both = np.tile(traits.bridge.height_range, (traits.string_count, 1))
    if room.down is not None:
        both[:, 0] = [-one.si for one in room.down]
    if room.up is not None:
        both[:, 1] = [one.si for one in room.up]
    same = bool((both == both[0]).all())
    return replace(traits, bridge=replace(traits.bridge, height_range=both[0] if same else both))


def _claw_part(job: Job, traits: Traits) -> tuple[Uncertain, ...]:
    """How far the claw distance is known: as read, or anywhere in its travel (rectangular, JCGM 100, 4.3.7)."""
    if not job.instrument.bridge.knife_edge:
        return ()
    read = job.found.claw_distance
    if read is None:
        low, high = traits.claw.travel
        return (_claw_offset(float(high - low) / float(np.sqrt(12.0)), "not read: anywhere in its travel"),)
    return (_claw_offset(_pair_band(read), f"typed: {_where(job, 'claw_distance')}"),)


def _claw_offset(sd: float, source: str) -> Uncertain:
    return Uncertain("claw.distance", "claw distance as found", "claw.wall_x", None, "offset", sd, "m", source)


def _wanted_parts(gauges: tuple[Gauge, ...]) -> tuple[Uncertain, ...]:
    """What is uncertain about the set that will go on."""
    return tuple(
        replace(
            part,
            name=part.name.replace("strings.", "wanted.", 1),
            path=part.path.replace("strings.", "wanted.", 1),
            label=part.label.replace(" of string", " of new string", 1),
        )
        for part in string_parts(gauges)
    )


def _known(parts: tuple[Uncertain, ...]) -> Prior:
    return prior(tuple(part for part in parts if part.sd > 0.0))


def _bought(gauges: tuple[Gauge, ...]) -> list[tuple[object, ...]]:
    """What makes two sets the same, however they were written."""
    return [(g.diameter, g.wound, g.wrap, tuple(sorted((k, v.si) for k, v in g.measured.items()))) for g in gauges]


def _blocked_at(job: Job, traits: Traits, settings: Settings) -> float:
    """Rear gap at which the plate is blocked; plate level when it was not read."""
    gap = job.found.rear_gap
    if gap is not None:
        return 0.5 * (gap[0].si + gap[1].si)
    return float(edge_gap(traits, settings, array(0.0)).mean())


def _found(job: Job, traits: Traits) -> FoundState:
    found = job.found
    hertz: Array | None = None
    if found.state == "at pitch":
        hertz = array([one.si for one in found.pitches or found.tuning])
    return FoundState(
        settings=found_settings(job, traits),
        mode=_MODES[found.bridge],
        hertz=hertz,
        shims=_shims(found.shims),
        readings=tuple(_readings(job)),
        octave=None if found.octave is None else array([one.si for one in found.octave]),
        octave_sd=None if found.octave is None else array([one.band for one in found.octave]),
    )


def _readings(job: Job) -> list[FoundReading]:
    """Rear gap, string heights and relief as read."""
    out, found = [], job.found
    if found.rear_gap is not None:
        treble, bass = found.rear_gap
        text = treble.written.text if treble == bass else f"{treble.written.text}, {bass.written.text}"
        out.append(
            FoundReading("rear gap", 0.5 * (treble.si + bass.si), _pair_band(found.rear_gap), text=text,
                         where=_where(job, "rear_gap"))
        )  # fmt: skip
    if found.string_height is not None:
        out += [
            FoundReading("string height", one.si, one.band, string=i, fret=found.string_height.fret,
                         text=one.written.text, where=_where(job, "string_height"))
            for i, one in enumerate(found.string_height.amounts)
        ]  # fmt: skip
    if found.relief is not None:
        bend = found.relief
        out.append(
            FoundReading("relief", bend.value.si, bend.value.band, fret=bend.read, hold=bend.hold,
                         text=bend.value.written.text, where=_where(job, "relief"))
        )  # fmt: skip
    return out


def _pair_band(pair: Pair) -> float:
    """Standard uncertainty of the mean of two sides: that of one, since hand and gauge err alike on both."""
    return 0.5 * (pair[0].band + pair[1].band)


def _targets(job: Job, traits: Traits) -> Targets:
    want = job.want
    heights = want.string_height or job.found.string_height
    fret = 12 if heights is None else heights.fret
    if want.clean is not None and want.string_height is None:
        heights = None  # as low as stays clean
    tolerance = HEIGHT_TOLERANCE
    if want.string_height is not None:
        tolerance = min(one.band for one in want.string_height.amounts)
    return Targets(
        mode=_MODES[want.bridge],
        hertz=array([one.si for one in want.tuning]),
        pitch_tolerance=want.pitch_tolerance.si,
        gap=None if want.rear_gap is None else want.rear_gap.si,
        gap_tolerance=want.gap_tolerance,
        level=want.level,
        heights=None if heights is None else array([one.si for one in heights.amounts]),
        height_tolerance=tolerance,
        height_fret=fret,
        radius=None if want.radius is None else want.radius.si,
        radius_tolerance=RADIUS_TOLERANCE if want.radius is None else want.radius.band,
        relief=_relief(job),
        octave=0.0 if want.octave is None else want.octave.si,
        octave_tolerance=None if want.octave is None else want.octave.band,
        up_bend=None if want.up_bend is None else UpBend(want.up_bend.string - 1, 100.0 * want.up_bend.semitones),
        attitude=want.attitude,
        clean=_clean(job, traits),
    )


def _clean(job: Job, traits: Traits) -> Stroke | None:
    """The stroke that has to stay clean: as written, else the player's most likely one."""
    want, player = job.want.clean, traits.playing
    if want is None:
        return None
    place = min(float(player.pluck_place), farthest_stroke(traits.fretboard.frets))
    return Stroke(
        force=float(player.pluck_force) if want.force is None else want.force.si,
        place=place if want.place is None else want.place.si,
    )


def _relief(job: Job) -> ReliefTarget | None:
    """Wanted relief; without a reading as found there is nothing to count the rod's turns from."""
    want = job.want.relief
    if want is None or job.found.relief is None:
        return None
    return ReliefTarget(want.value.si, want.value.band, want.hold, want.read)


def _shelf(job: Job) -> Shelf:
    spare = sum(one.count for one in job.shop.springs if one.kind == job.instrument.springs.name)
    counts = tuple(range(2, job.found.springs + spare + 1)) or (job.found.springs,)
    return Shelf(shims=_shims(job.shop.shims), spring_counts=counts)


def _shims(given: tuple[JobShim, ...]) -> tuple[Shim, ...]:
    return tuple(Shim(_SHIMS[one.kind], one.thickness.si) for one in given for _ in range(one.count))


def _where(job: Job, key: str) -> str:
    return f"{job.file}, found.{key}"
