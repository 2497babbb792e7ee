"""Where a stroke or a bend touches, how low each string can go, and how hard it can be struck."""

from __future__ import annotations

import numpy as np

from setwright.bench.places import on_centre_line, under_strings
from setwright.bench.standing import PLUCK, SAMPLES, Banded, Bench, Standing, band, on_the_bench
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.fan import fret_places, nut_places
from setwright.instrument.jobfile import Job
from setwright.instrument.strokes import (
    Strokes,
    clearances,
    contacts,
    farthest_stroke,
    height_at,
    stroke_place,
    strokes_on,
)
from setwright.instrument.traits import Array, Mask
from setwright.physics.clearance import bend_displacement, bend_map, bend_rise, hardest_pluck, rise_to_clear
from setwright.physics.frets import board_radius, drop, fret_position
from setwright.sheets.board import Places
from setwright.sheets.clearance import ClearanceSheet, Reach, draw_clearance
from setwright.units.show import LengthStyle, System, show_length, show_turns

FRET = 12  # where lowest heights are told
FORCE = (0.0, 20.0)  # N
BENDS = tuple(range(25, 401, 25))  # cents
FIRST_BENT = 5  # fret; bends nearer to the nut are not told
BENT_SAMPLES = 48
REACH = 0.025  # m, farther no finger pushes a string; common practice, no source
FINEST = 1 / 8  # turn
HAIR = 5e-5  # m, the digits of a height end here


@frozen
class Nearest:
    """A string stopped at one place: how near its stroke comes to any fret ahead."""

    stop: int  # 0 the nut, n the crown of fret n
    clearance: Banded  # m; below zero it touches
    ahead: int  # fret it comes nearest to
    touches: float  # share of the instruments this may be on which it touches


@frozen
class StringReach:
    """One string."""

    string: int
    nearest: tuple[Nearest, ...]  # open, at fret 1, 2 ...
    clean_to: Banded  # N, the hardest stroke that touches nowhere
    height: Banded  # m at fret 12, as it stands
    lowest: Banded  # m at fret 12, the lowest that stays clean with this stroke
    down: Banded  # m, how far the saddle may go down; below zero it has to rise
    turns: Banded  # of the height screws, down > 0
    room: float  # m, how far the saddle goes down, or up where it has to rise
    enough: bool  # whether that room suffices


@frozen
class Choke:
    """A bend that dies: the bent string comes to rest on a crown ahead, however softly it is struck."""

    string: int
    fret: int
    cents: float  # least bend, in steps of 25 cents, that touches
    ahead: int  # crown it comes down on
    share: float  # of the instruments this may be on which that bend touches


@frozen
class ReachShown:
    """Clearance in one state."""

    when: str
    strings: tuple[StringReach, ...]
    chokes: tuple[Choke, ...]


@frozen
class ClearanceTable:
    """The whole answer."""

    title: str
    instrument: str
    strings: tuple[str, ...]
    scale: float  # m
    frets: int
    fret_x: tuple[float, ...]  # m
    places: tuple[Places, ...]  # under every string of a fanned board, else none
    force: Banded  # N, of the stroke, square to the board
    place: Banded  # of the stroke, share of the open string from the saddle
    fret: int  # where lowest heights are told
    most_bend: float  # cents, the widest bend that was tried
    states: tuple[ReachShown, ...]
    remarks: tuple[str, ...]


def clearance_of(
    job: Job,
    force: float | None = None,
    place: float | None = None,
    plan: bool = False,
    samples: int = SAMPLES,
    seed: int = 0,
) -> ClearanceTable:
    """Clearance of every string stopped anywhere, for the player's stroke or a given one.

    Args:
        job: as read from its file.
        force: of the stroke, square to the board; None: the player's [N].
        place: of the stroke from the saddle, share of the open string; None: the player's [1].
        plan: whether the plan's end is wanted too.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
    Returns: the table.
    Raises: InputError for strokes nobody makes, or strings not at pitch; ContradictionError, NoPlanError.
    """
    if force is not None and not FORCE[0] < force <= FORCE[1]:
        raise InputError(f"--force: {force:g} N is no stroke; give more than 0 and at most {FORCE[1]:g} N.")
    most = farthest_stroke(job.instrument.frets)
    if place is not None and not PLUCK[0] <= place <= most:
        raise InputError(
            f"--place: {100 * place:g} % of the open string is no place for a stroke behind the last fret; give "
            f"{100 * PLUCK[0]:.0f} to {100 * most:.0f} %, counted from the saddle."
        )
    bench = on_the_bench(job, plan, samples, seed)
    board = bench.problem.traits.fretboard
    gauges = job.want.strings if plan else job.found.strings
    off = _read_off(bench, seed)
    swings = [strokes_on(one.traits, one.settings, one.state, force, place, off) for one in bench.states]
    shown = tuple(_shown(one, swing) for one, swing in zip(bench.states, swings, strict=True))
    return ClearanceTable(
        title=job.title,
        instrument=job.instrument.name,
        strings=tuple(gauge.text for gauge in gauges),
        scale=float(board.scale),
        frets=board.frets,
        fret_x=on_centre_line(bench.problem.traits),
        places=under_strings(bench.problem.traits),
        force=band(swings[-1].force),
        place=band(stroke_place(bench.states[-1].traits, samples + 1, place)),
        fret=FRET,
        most_bend=float(BENDS[-1]),
        states=shown,
        remarks=(*bench.seen_remarks, *_remarks(shown)),
    )


def _remarks(shown: tuple[ReachShown, ...]) -> tuple[str, ...]:
    """What must be said beside the numbers."""
    if any(near.clearance.value < 0.0 for one in shown for string in one.strings for near in string.nearest):
        return (
            "The stroke counts square to the board; a pick that runs along it has only a part of its force in that "
            "direction: give that part with --force.",
        )
    return ()


def _read_off(bench: Bench, seed: int) -> Array:
    """(B, S) how far each saddle may stand off for the error of its own string's reading, none for the first [m]."""
    count, strings = bench.states[0].state.tension.shape
    heights = bench.job.found.string_height
    out = np.zeros((count, strings))
    if heights is None or bench.states[0].when != "as found":
        return out
    first = bench.states[0]
    saddle_x = contacts(first.traits, first.settings, first.state)[2][0]
    traits = bench.problem.traits
    start = nut_places(traits)
    share = (fret_places(traits, [heights.fret])[..., 0] - start) / (saddle_x - start)
    sd = np.array([one.band for one in heights.amounts]) / share
    out[1:] = sd * np.random.default_rng([seed, strings]).standard_normal((count - 1, strings))
    return out


def _shown(one: Standing, swing: Strokes) -> ReachShown:
    """Everything of one state."""
    struck, rest = clearances(swing), clearances(swing, struck=False)
    rise = rise_to_clear(struck, swing.x, swing.saddle_x).clearance
    hardest = hardest_pluck(rest, swing.x, swing.saddle_x, swing.pluck, swing.per_newton).clearance
    height, share = height_at(swing, FRET)
    lowest = height + share * rise
    strings = tuple(
        _string(one, s, struck[:, s], hardest[:, s], (height[:, s], lowest[:, s]), rise[:, s])
        for s in range(struck.shape[1])
    )
    return ReachShown(one.when, strings, _chokes(one, swing))


def _string(
    one: Standing, s: int, struck: Array, hardest: Array, heights: tuple[Array, Array], rise: Array
) -> StringReach:
    """One string over the ensemble; arrays (B, ...)."""
    least, ahead = struck.min(axis=-1), struck[0].argmin(axis=-1)
    nearest = tuple(
        Nearest(stop, band(least[:, stop]), int(ahead[stop]), float(np.mean(least[1:, stop] < 0.0)))
        for stop in range(struck.shape[-1] - 1)
    )
    lead = float(np.min(one.traits.bridge.height_lead))
    down = band(-rise)
    low, high = (float(end[0, s]) for end in _rooms(one))
    room = -low if down.value >= 0.0 else high
    return StringReach(
        string=s + 1,
        nearest=nearest,
        clean_to=band(hardest),
        height=band(heights[0]),
        lowest=band(heights[1]),
        down=down,
        turns=Banded(down.value / lead, down.half_width / lead),
        room=max(room, 0.0),
        enough=abs(down.value) <= room,
    )


def _rooms(one: Standing) -> tuple[Array, Array]:
    """(B, S) how far every saddle still goes, below and above where it stands [m]."""
    rise, limits = one.settings.saddle_rise, np.asarray(one.traits.bridge.height_range)
    return np.asarray(limits[..., 0] - rise), np.asarray(limits[..., 1] - rise)


def _chokes(one: Standing, swing: Strokes) -> tuple[Choke, ...]:
    """Least bend at every fret that brings the resting string down on a crown, towards the middle of the board."""
    count = min(BENT_SAMPLES, len(swing.force))
    x, saddle_x = swing.x[:count], swing.saddle_x[:count]
    speaking, behind = saddle_x[..., None] - x, np.maximum(x - x[..., :1], 1e-3)
    tension, axial = (v[:count][..., None] for v in (one.state.tension, one.rig.axial))
    path = speaking[..., :1] + one.rig.dead[:count][..., None]
    strings, last = x.shape[1], x.shape[2] - 1
    side = np.where(np.arange(strings) < (strings + 1) // 2, 1.0, -1.0)  # treble strings are pushed, bass ones pulled
    fretted = (np.arange(last + 1) >= FIRST_BENT) & (np.arange(last + 1) < last)
    bendable: Mask = np.asarray((axial / tension > 2.0 * path / speaking) & fretted, dtype=np.bool_)
    parts = tuple(np.broadcast_to(v, x.shape) for v in (behind, speaking, path, tension, axial))
    reach = np.where(bendable, bend_rise(np.where(bendable, REACH, 0.0), *parts), 0.0)
    where = _round_board(one, swing, count)
    out: dict[tuple[int, int], Choke] = {}

    def bent(cents: float, first: int) -> tuple[Array, Array]:
        """Clearance over every crown ahead on the first instruments, and how far aside the string is pushed."""
        aside = _aside(cents, tuple(v[:first] for v in parts), reach[:first])
        at_x, crown, radius, z, saddle = (v[:first] for v in where)
        return bend_map(at_x, crown, radius, z, saddle, aside * side[:, None]), aside

    for cents in BENDS:
        clear, aside = bent(cents, 1)  # the most likely instrument tells where; the others how sure that is
        died = np.argwhere((clear[0].min(axis=-1) < 0.0) & (aside[0] > 0.0))
        fresh = [(int(s), int(fret)) for s, fret in died if (int(s) + 1, int(fret)) not in out]
        least = bent(cents, count)[0].min(axis=-1) if fresh else clear
        for s, fret in fresh:
            touched = float(np.mean(least[1:, s, fret] < 0.0))
            out[s + 1, fret] = Choke(s + 1, fret, float(cents), int(clear[0, s, fret].argmin()), touched)
    return tuple(out[key] for key in sorted(out))


def _aside(cents: float, parts: tuple[Array, ...], reach: Array) -> Array:
    """(B, S, N + 1) displacement that makes a bend; 0 where no hand reaches so far [m]."""
    possible: Mask = reach >= cents
    out = np.zeros(reach.shape)
    if possible.any():
        out[possible] = bend_displacement(cents, *(v[possible] for v in parts))
    return out


def _round_board(one: Standing, swing: Strokes, count: int) -> tuple[Array, Array, Array, Array, Array]:
    """Places, crown heights on the centre line, radii, z of the strings, saddles: what a bend runs over."""
    traits = one.traits
    x, y = swing.x[:count], swing.y[:count]
    board = traits.fretboard
    end = np.asarray(fret_position(np.asarray(board.scale), board.frets))
    along = x[..., 1:] if traits.fanned else x[..., :1, 1:]
    shape = (end, board.radius_nut, board.radius_end)
    radius = board_radius(along, *(np.broadcast_to(v, one.state.tilt.shape)[:count, None, None] for v in shape))
    radius = np.concatenate([radius[..., :1], radius], axis=-1)
    z0, z1 = (np.broadcast_to(v, swing.saddle_x.shape)[:count] for v in (traits.nut.z, traits.bridge.saddle_z))
    share = (x - x[..., :1]) / (swing.saddle_x[:count] - x[..., 0])[..., None]
    z = z0[..., None] + share * (z1 - z0)[..., None]
    radius = np.broadcast_to(radius, x.shape)
    saddle = np.stack([swing.saddle_x[:count], swing.saddle_y[:count], z1], axis=-1)
    return x, y + drop(radius, z), radius, z, saddle


def reach_words(one: StringReach, system: System) -> tuple[str, ...]:
    """How hard the string may be struck and what the saddle may do.

    Args:
        one: the string.
        system: "inch" or "mm".
    Returns: two or three short lines.
    """
    clean = f"clean up to {one.clean_to.value:.1f} N"
    turns = show_turns(abs(one.turns.value), FINEST)
    if turns == "no turn":
        return clean, "saddle as low as it goes clean"
    way, end = ("down", "bottom") if one.down.value > 0.0 else ("up", "top")
    style: LengthStyle = "thou" if system == "inch" else "mm"
    saddle = f"saddle {turns} {way} ({show_length(abs(one.down.value), system, HAIR, style)})"
    if one.enough:
        return clean, saddle
    return clean, saddle, f"but the {end} of its room is {show_length(one.room, system, HAIR, style)} away"


def clearance_drawing(result: ClearanceTable, system: System) -> str:
    """The clearance as a drawing.

    Args:
        result: the table.
        system: "inch" or "mm".
    Returns: an SVG document.
    """
    now = result.states[-1]
    strips = tuple(
        Reach(
            name=f"{one.string}  {result.strings[one.string - 1]}",
            clearance=tuple(near.clearance.value for near in one.nearest),
            half_width=tuple(near.clearance.half_width for near in one.nearest),
            ahead=tuple(near.ahead for near in one.nearest),
            words=reach_words(one, system),
            dies=tuple((choke.fret, choke.cents) for choke in now.chokes if choke.string == one.string),
        )
        for one in now.strings
    )
    sheet = ClearanceSheet(
        result.title,
        result.instrument,
        now.when,
        stroke_words(result),
        result.scale,
        result.fret_x,
        strips,
        result.places,
    )
    return draw_clearance(sheet)


def stroke_words(result: ClearanceTable) -> str:
    """The stroke in words.

    Args:
        result: the table.
    Returns: e.g. "1.2 ± 0.8 N at 15 ± 10 % of the open string from the saddle".
    """
    force, place = result.force, result.place
    strength = f"{force.value:.1f}" + (f" ± {force.half_width:.1f}" if force.half_width >= 0.05 else "")
    where = f"{100 * place.value:.0f}" + (f" ± {100 * place.half_width:.0f}" if place.half_width >= 0.005 else "")
    return f"{strength} N square to the board, at {where} % of the open string from the saddle"
