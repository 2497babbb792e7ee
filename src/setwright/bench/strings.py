"""What a set of strings does in a tuning: tension, strength, stiffness, and how it answers to being stretched."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from setwright.bench.plans import found_settings
from setwright.bench.tunings import standard_tuning as standard_tuning
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.assemble import assemble
from setwright.instrument.geometry import build_rig, edge_gap, tilt_for_gap, tilt_limits
from setwright.instrument.jobfile import Job
from setwright.instrument.predict import tune_at
from setwright.instrument.string_sets import Gauge, string_parts, strings_from
from setwright.instrument.traits import Array, Strings, Traits, array
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.physics.strings import inharmonicity, pitch_shift, tension_at_pitch
from setwright.units.pitch import A4

NEAR_BREAKING = 0.8  # share of the breaking load from which a string is flagged; common practice, no source
MILLIMETRE = 1e-3  # m


@frozen
class Measured:
    """A value with its standard uncertainty, both in the same SI unit."""

    value: float
    sd: float


@frozen
class StringLine:
    """One string at pitch."""

    gauge: str
    wound: bool
    hertz: float
    length: float  # m, speaking length
    unit_mass: Measured  # kg/m, unstretched
    tension: Measured  # N
    load: Measured  # share of the breaking load
    breaking: float  # N
    inharmonicity: Measured  # B, partials at n f0 sqrt(1 + B n2)
    per_millimetre: Measured  # cents up when the whole path is stretched by 1 mm, sounding length kept
    near_breaking: bool
    diameter: float  # m


@frozen
class Flag:
    """Something about one string that wants a look."""

    kind: str  # near breaking, slack, answers to the finger, too thick for the slot, thicker, now wound, now plain
    string: int  # 1 is the thinnest
    gauge: str
    was: str  # gauge that was on, "" where nothing is compared
    value: float  # by kind: share, N, cents, m of slot width, m thicker; 0 for a change of kind
    limit: float  # in the unit of the value


@frozen
class Change:
    """A set against the one that was on."""

    before: Measured  # N, all strings
    total: Measured  # N, more than before
    share: float  # of before
    lines: tuple[Measured, ...]  # N, more on each string
    same_board: bool  # both sets on the same scale, taken for the same instrument


@frozen
class StringSheet:
    """A set at pitch."""

    title: str
    scale: float  # m
    lines: tuple[StringLine, ...]
    total: Measured  # N
    limit: float  # share of the breaking load from which a string is flagged
    remarks: tuple[str, ...]
    flags: tuple[Flag, ...] = ()
    change: Change | None = None
    reference: float = A4  # Hz, by which the pitches are named


def string_sheet(
    gauges: Sequence[Gauge],
    hertz: Array,
    scale: float,
    length: Array | None = None,
    path: Array | None = None,
    limit: float = NEAR_BREAKING,
    title: str = "",
    reference: float = A4,
) -> StringSheet:
    """Figures of a set in a tuning.

    Args:
        gauges: (S), from the thinnest.
        hertz: (S) open strings [Hz].
        scale: nominal scale length [m].
        length: (S) speaking lengths [m]; None: the scale length.
        path: (S) string that shares the stretch [m]; None: the speaking length alone.
        limit: share of the breaking load from which a string is flagged [1].
        title: what the set is called.
        reference: pitch of A4 by which the pitches are to be named [Hz].
    Returns: the figures with standard uncertainties, first order in unit mass and stretch stiffness (JCGM 100, 5.1.2).
    Raises: InputError where gauges and pitches differ in number; RangeError outside what the string formulas cover.
    """
    if len(gauges) != len(hertz):
        raise InputError(
            f"{len(gauges)} strings and {len(hertz)} pitches; write one pitch per string, from the thinnest."
        )
    speaking = np.full(len(hertz), scale) if length is None else length
    whole = speaking if path is None else path
    strings = strings_from(gauges)
    shares = _shares(gauges)
    case = _Case(hertz, speaking, whole)
    made = {name: _uncertain(figure, strings, shares, case) for name, figure in _FIGURES.items()}
    lines = tuple(
        StringLine(
            gauge=one.text,
            wound=one.wound,
            hertz=float(hertz[i]),
            length=float(speaking[i]),
            unit_mass=Measured(float(strings.unit_mass[i]), float(strings.unit_mass[i] * shares["unit_mass"][i])),
            breaking=float(strings.breaking[i]),
            near_breaking=bool(made["load"][0][i] >= limit),
            diameter=one.diameter,
            **{name: Measured(float(value[i]), float(sd[i])) for name, (value, sd) in made.items()},
        )
        for i, one in enumerate(gauges)
    )
    tension, sd = made["tension"]
    total = Measured(float(tension.sum()), float(np.sqrt((sd**2).sum())))
    return StringSheet(title, scale, lines, total, limit, tuple(_remarks(lines, limit)), reference=reference)


def sheets_of(job: Job) -> tuple[StringSheet, ...]:
    """The sets of a job on its instrument: the one found, and the one wanted where it or its tuning differs.

    Args:
        job: the job.
    Returns: one or two sheets.
    """
    found, want = job.found, job.want
    tuning = array([one.si for one in found.pitches or found.tuning])
    wanted = array([one.si for one in want.tuning])
    other = [g.text for g in want.strings] != [g.text for g in found.strings]
    retuned = bool(np.any(np.abs(np.log2(wanted / array([one.si for one in found.tuning]))) > 1e-6))
    sheets = [_on_instrument(job, found.strings, tuning, "Strings as found")]
    if other or retuned:
        sheets.append(_on_instrument(job, want.strings, wanted, "Strings as wanted"))
    return tuple(sheets)


def _on_instrument(job: Job, gauges: Sequence[Gauge], hertz: Array, title: str) -> StringSheet:
    """A set on the instrument of a job, plate as found."""
    traits = assemble(job.instrument, gauges).traits
    settings = found_settings(job, traits)
    tuned = tune_at(traits, settings, hertz, _tilt(job, traits))
    length = tuned.state.length[0]
    path = length + np.broadcast_to(build_rig(traits, settings).dead, (1, len(hertz)))[0]
    return string_sheet(gauges, hertz, float(traits.fretboard.scale), length, path, job.limits.stress.si, title)


def _tilt(job: Job, traits: Traits) -> Array:
    """Tilt of the plate as found, level when its gap was not read."""
    settings = found_settings(job, traits)
    low, high = tilt_limits(traits, settings)
    gap = job.found.rear_gap
    height = edge_gap(traits, settings, array(0.0)).mean() if gap is None else 0.5 * (gap[0].si + gap[1].si)
    return np.clip(tilt_for_gap(traits, settings, array(height)), low, high)


def _shares(gauges: Sequence[Gauge]) -> dict[str, Array]:
    """(S) standard uncertainties of unit mass and stretch stiffness, as shares."""
    out = {name: np.zeros(len(gauges)) for name in ("unit_mass", "axial")}
    for part in string_parts(gauges):
        assert part.index is not None
        out[part.path.removeprefix("strings.")][part.index] = part.sd
    return out


@frozen
class _Case:
    """What a set is put on, (S) each."""

    hertz: Array
    speaking: Array  # m
    path: Array  # m


def _tension(strings: Strings, case: _Case) -> Array:
    return tension_at_pitch(case.hertz, case.speaking, strings.unit_mass, strings.axial, strings.bending)


def _load(strings: Strings, case: _Case) -> Array:
    return np.asarray(_tension(strings, case) / strings.breaking)


def _inharmonicity(strings: Strings, case: _Case) -> Array:
    return inharmonicity(_tension(strings, case), case.speaking, strings.bending)


def _per_millimetre(strings: Strings, case: _Case) -> Array:
    tension = _tension(strings, case)
    return np.asarray(CENTS_PER_LOG * pitch_shift(MILLIMETRE, 0.0, tension, strings.axial, case.path, case.speaking))


_FIGURES: dict[str, Callable[[Strings, _Case], Array]] = {
    "tension": _tension,
    "load": _load,
    "inharmonicity": _inharmonicity,
    "per_millimetre": _per_millimetre,
}


def _uncertain(
    figure: Callable[[Strings, _Case], Array], strings: Strings, shares: dict[str, Array], case: _Case
) -> tuple[Array, Array]:
    """A figure and its standard uncertainty, by moving each input up and down by its own."""
    squares = np.zeros_like(strings.diameter)
    for name, share in shares.items():
        nominal = getattr(strings, name)
        up, down = (figure(replace(strings, **{name: nominal * (1.0 + s * share)}), case) for s in (1.0, -1.0))
        squares += (0.5 * (up - down)) ** 2
    return figure(strings, case), np.sqrt(squares)


def _remarks(lines: Sequence[StringLine], limit: float) -> list[str]:
    out = []
    for i, line in enumerate(lines):
        if line.near_breaking:
            cure = "or one with more core under less wrap" if line.wound else "for a thinner plain string gains little"
            out.append(
                f"String {i + 1} ({line.gauge}) carries {100 * line.load.value:.0f} % of its breaking load, "
                f"{100 * limit:.0f} % is the limit: take a lower pitch or a shorter scale, {cure}."
            )
    return out
