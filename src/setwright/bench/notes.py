"""Every note of the fretboard, as found and after the plan, and what each saddle's length screw would do about it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setwright.bench.places import FANNED, on_centre_line, under_strings
from setwright.bench.standing import SAMPLES, Banded, Standing, band, on_the_bench
from setwright.bench.tunings import CAPO_UP_TO
from setwright.errors import InputError
from setwright.instrument.geometry import crowns, nut_contact, saddle_contact
from setwright.instrument.jobfile import Job
from setwright.instrument.notes import CAPO_PLACE, fretted, fretted_with_capo
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Mask, Traits
from setwright.physics.balance import unstretched_lengths
from setwright.physics.fretting import (
    Layout,
    Wires,
    at_pitch,
    capo_layout,
    fretted_notes,
    layout,
    octave_sensitivity,
    open_partial,
    remedies,
    saddle_move,
    wires,
)
from setwright.physics.pitch import cents as pitch_cents
from setwright.planning.bands import spread
from setwright.planning.plan import End
from setwright.sheets.board import Places, Room
from setwright.sheets.notes import NotesSheet, Strip, draw_notes
from setwright.telling import Tell, each, untold, within
from setwright.units.show import MINUS, System, show_cents, show_length, show_turns

OCTAVE = 12  # fret; no board of an instrument file has fewer
AUDIBLE = 0.5  # cents, octave errors below are left alone
FINEST = 1 / 8  # turn
LEAST_BAND = 0.1  # cents, finer than any tuner
WHOLE = 3.0  # cents, bands from here on are told in whole cents


@dataclass(frozen=True)
class Octave:
    """The note held at fret 12 against the octave of the open string, and the length screw."""

    string: int
    error: Banded  # cents, sharp > 0
    per_metre: float  # cents per metre the saddle goes back
    way: str  # "back", away from the nut, "forward", "stay"
    move: Banded  # m, back > 0
    turns: Banded  # back > 0
    sure: bool  # whether the way is told by more than the band: else read the octave error before turning
    enough: bool  # whether the saddle's travel suffices
    reached: float  # m, how much of the move the travel allows
    missing: float  # m, the rest
    left: float  # cents that stay for want of travel
    remedies: tuple[str, ...]  # what else to try, likeliest and cheapest first


@dataclass(frozen=True)
class NotesShown:
    """Every note in one state."""

    when: str
    hertz: tuple[float, ...]  # Hz, open strings
    cents: tuple[tuple[Banded, ...], ...]  # per string, at the first fret beyond nut or capo and on; sharp > 0
    choked: tuple[tuple[int, int], ...]  # string and fret where a crown ahead carries the string
    octave: tuple[Octave, ...]  # () with a capo, under which no saddle is set
    capo: tuple[Banded, ...]  # cents, per string: open with the capo against the tempered note there; () without


@dataclass(frozen=True)
class NotesMap:
    """The whole answer."""

    title: str
    instrument: str
    strings: tuple[str, ...]  # gauges, of the last state
    scale: float  # m
    frets: int
    fret_x: tuple[float, ...]  # m from the nut
    places: tuple[Places, ...]  # under every string of a fanned board, else none
    ends: str  # stiffness at the ends of the string
    capo: int | None  # fret of the capo; notes then count from the string that it leaves
    grips: bool  # whether the capo holds the strings fast; else they slide under it
    settling: bool  # whether plate and neck settle with the held string
    saddles_known: str  # "octave", "typed", "pattern"
    states: tuple[NotesShown, ...]
    remarks: tuple[str, ...]


def notes_of(
    job: Job,
    plan: bool = False,
    ends: str = "pinned",
    settling: bool = True,
    samples: int = SAMPLES,
    seed: int = 0,
    capo: int | None = None,
    grips: bool = False,
    end: End | None = None,
    tell: Tell = untold,
) -> NotesMap:
    """Cents error of every string at every fret, with bands, and the saddles' remedy.

    Args:
        job: as read from its file.
        plan: whether the plan's end is wanted too.
        ends: "pinned", "clamped" or "clamped-pinned".
        settling: whether plate and neck give with the held string.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        capo: fret of a capo put on the strings at pitch, None for none [1].
        grips: whether nothing slides under it once it is on.
        end: that of the plan where it is known already; else the job is planned where it is wanted.
        tell: takes the share of the work that is done, that of planning apart.
    Returns: the notes.
    Raises: InputError where the strings were not at pitch, or the capo leaves no fret; ContradictionError, NoPlanError.
    """
    if capo is not None and not 1 <= capo <= min(CAPO_UP_TO, job.instrument.frets - 1):
        raise InputError(
            f"--capo: a capo on fret {capo} is none; allowed is 1 to {min(CAPO_UP_TO, job.instrument.frets - 1)}."
        )
    bench = on_the_bench(job, plan, samples, seed, end, within(tell, 0.0, 0.3))
    board = bench.problem.traits.fretboard
    gauges = job.want.strings if plan else job.found.strings
    return NotesMap(
        title=job.title,
        instrument=job.instrument.name,
        strings=tuple(gauge.text for gauge in gauges),
        scale=float(board.scale),
        frets=board.frets,
        fret_x=on_centre_line(bench.problem.traits),
        places=under_strings(bench.problem.traits),
        ends=ends,
        capo=capo,
        grips=grips and capo is not None,
        settling=settling,
        saddles_known=bench.saddles_known,
        states=tuple(
            _shown(one, ends, settling, capo, grips, told) for one, told in each(within(tell, 0.3, 1.0), bench.states)
        ),
        remarks=((FANNED,) if bench.problem.traits.fanned else ()) + bench.remarks,
    )


def _shown(one: Standing, ends: str, settling: bool, capo: int | None, grips: bool, tell: Tell) -> NotesShown:
    """Every note of a state."""
    if capo is not None:
        return _shown_with_capo(one, ends, settling, capo, grips)
    where = layout_of(one)
    tell(0.1)
    cents, choked = _heard(one, where, ends, settling, within(tell, 0.1, 0.7))
    tell(0.7)
    per = octave_sensitivity(where, wires_of(one), *finger_of(one.traits), ends)
    count = cents.shape[1]
    strings = each(within(tell, 0.8, 1.0), range(count))
    return NotesShown(
        when=one.when,
        hertz=tuple(float(v) for v in one.hertz),
        cents=tuple(tuple(band(cents[:, s, n]) for n in range(cents.shape[2])) for s, _ in strings),
        choked=tuple((int(s) + 1, int(n) + 1) for s, n in np.argwhere(choked[0])),
        octave=tuple(_octave(s, cents[:, s, OCTAVE - 1], per[:, s], one) for s in range(count)),
        capo=(),
    )


def _shown_with_capo(one: Standing, ends: str, settling: bool, capo: int, grips: bool) -> NotesShown:
    """Every note beyond the capo of a state, and how far off it puts every open string."""
    if settling:
        got = fretted_with_capo(one.traits, one.settings, one.rig, one.state, capo, ends, grips)
        off, cents, choked = got.off, got.notes.cents, got.notes.choked
    else:
        off, cents, choked = _held_with_capo(one, ends, capo, grips)
    count, frets = cents.shape[1:]
    return NotesShown(
        when=one.when,
        hertz=tuple(float(v) for v in one.hertz),
        cents=tuple(tuple(band(cents[:, s, n]) for n in range(frets)) for s in range(count)),
        choked=tuple((int(s) + 1, int(n) + 1 + capo) for s, n in np.argwhere(choked[0])),
        octave=(),
        capo=tuple(band(off[:, s]) for s in range(count)),
    )


def _held_with_capo(one: Standing, ends: str, capo: int, grips: bool) -> tuple[Array, Array, Mask]:
    """(B, S) cents off, (B, S, N) cents beyond and where strings choke, plate and neck held where they rest."""
    where, strings, (place, depth) = layout_of(one), wires_of(one), finger_of(one.traits)
    beyond, behind = capo_layout(where, capo, CAPO_PLACE, depth[..., 0])
    short = replace(strings, dead=strings.dead + behind)
    held = fretted_notes(beyond, short, place, depth, ends)
    if grips:
        cut = at_pitch(beyond, replace(short, dead=np.zeros_like(short.dead)), held.open_hertz, ends)
        held = fretted_notes(beyond, cut, place, depth, ends)
    off = pitch_cents(held.open_hertz, open_partial(where, strings, 1, ends)) - 100.0 * capo
    return off, held.cents, held.choked


def _heard(one: Standing, where: Layout, ends: str, settling: bool, tell: Tell) -> tuple[Array, Mask]:
    """(B, S, N) cents, and where strings choke."""
    if settling:
        notes = fretted(one.traits, one.settings, one.rig, one.state, ends, tell=tell)
        return notes.cents, notes.choked
    held = fretted_notes(where, wires_of(one), *finger_of(one.traits), ends)
    return held.cents, held.choked


def layout_of(one: Standing) -> Layout:
    """Contacts of every string's centre line with nut, crowns and saddle, in the body frame.

    Args:
        one: a state.
    Returns: (B, S) contacts.
    """
    traits, settings, state = one.traits, one.settings, one.state
    radius = 0.5 * traits.strings.diameter
    nut_x, nut_y = nut_contact(traits, settings, state.bow)
    x, y = crowns(traits, settings, state.tilt, state.bow, range(1, traits.fretboard.frets + 1))
    saddle_x, saddle_y = saddle_contact(traits, settings, state.tilt)
    aside = traits.nut.z - traits.bridge.saddle_z
    return layout(nut_x, nut_y + radius, x, y + radius[..., None], saddle_x, saddle_y + radius, aside)


def wires_of(one: Standing) -> Wires:
    """The strings as they are cut.

    Args:
        one: a state.
    Returns: (B, S) strings with their unstretched lengths.
    """
    rig = one.rig
    return wires(rig.unit_mass, rig.axial, rig.bending, rig.dead, unstretched_lengths(rig, one.state))


def finger_of(traits: Traits) -> tuple[Array, Array]:
    """Place and depth of the finger, to go with strings and frets.

    Args:
        traits: the instrument(s).
    Returns: place [1] and depth [m], (..., 1, 1).
    """
    playing = traits.playing
    return np.asarray(playing.finger_place)[..., None, None], np.asarray(playing.finger_depth)[..., None, None]


def _octave(string: int, error: Array, per: Array, one: Standing) -> Octave:
    """Octave error of one string over the ensemble, and the screw that removes it."""
    b, settings = one.traits.bridge, one.settings
    move = saddle_move(
        float(error[0]), float(per[0]), float(np.min(b.length_lead)), _travel(one.traits), _stands(settings, string)
    )
    moves = -error / per
    whole = Banded(float(moves[0]), spread(moves[1:]))
    lead = float(np.min(b.length_lead))
    still = abs(float(error[0])) < AUDIBLE
    missing = 0.0 if still else float(move.missing)
    found = band(error)
    return Octave(
        string=string + 1,
        error=found,
        per_metre=float(per[0]),
        way="stay" if still else str(move.way),
        move=whole,
        turns=Banded(whole.value / lead, whole.half_width / lead),
        sure=abs(found.value) > found.half_width,
        enough=still or bool(move.enough),
        reached=float(move.reached),
        missing=missing,
        left=0.0 if still else float(move.left),
        remedies=remedies(missing),
    )


def _travel(traits: Traits) -> Array:
    """(2) foremost and rearmost place of a saddle, of the most likely instrument."""
    travel: Array = np.reshape(traits.bridge.length_range, (-1, 2))[0]
    return travel


def _stands(settings: Settings, string: int) -> float:
    return float(settings.saddle_back[0, string])


def remedy_words(one: Octave, system: System) -> str:
    """What to turn, short: the motion first, then its length.

    Args:
        one: the octave error of a string.
        system: "inch" or "mm".
    Returns: e.g. "saddle back 1 3/8 turns (0.69 mm)", "leave the saddle"; "read first" where the band is wider than the
        error.
    """
    if one.way == "stay":
        return "leave the saddle"
    turns = show_turns(abs(one.turns.value), FINEST)
    length = show_length(abs(one.move.value), system, 5e-5, "thou" if system == "inch" else "mm")
    if turns == "no turn":
        return "leave the saddle: less than 1/16 turn off"
    return f"saddle {one.way} {turns} ({length})" + ("" if one.sure else ", read first")


def notes_drawing(result: NotesMap, system: System, room: Room | None = None) -> str:
    """The notes as a drawing.

    Args:
        result: the notes.
        system: "inch" or "mm".
        room: on paper, where it is printed.
    Returns: an SVG document.
    """
    now = result.states[-1]
    first = result.states[0] if len(result.states) > 1 else None
    strips = []
    for i, row in enumerate(now.cents):
        words, remedy, saddle = _beside(now, i, result.capo, system)
        strips.append(
            Strip(
                name=f"{i + 1}  {result.strings[i]}",
                cents=tuple(one.value for one in row),
                half_width=tuple(one.half_width for one in row),
                before=() if first is None else tuple(one.value for one in first.cents[i]),
                octave=words,
                remedy=remedy,
                saddle=saddle,
                capo=result.capo or 0,
            )
        )
    board = result.scale, result.fret_x
    sheet = NotesSheet(result.title, result.instrument, now.when, *board, tuple(strips), result.places)
    return draw_notes(sheet, room)


def _beside(now: NotesShown, string: int, capo: int | None, system: System) -> tuple[str, str, int]:
    """What stands at the right of a strip: two lines, and which way the saddle's arrow points."""
    if capo is not None:
        return f"open, capo on {capo}: {octave_words(now.capo[string])}", "against the note of its fret", 0
    octave = now.octave[string]
    remedy = remedy_words(octave, system)
    if not octave.enough:
        remedy = f"saddle {octave.way}: out of travel, {show_cents(octave.left, 1.0, signed=True)} stay"
    saddle = {"back": 1, "forward": -1}.get(octave.way, 0)
    return f"octave at 12: {octave_words(octave.error)}", remedy, saddle


def octave_words(error: Banded) -> str:
    """An octave error with its band.

    Args:
        error: [cents].
    Returns: e.g. "+5.1 ± 2.0 c".
    """
    half = max(error.half_width, LEAST_BAND)
    places = 0 if half >= WHOLE else 1
    value = f"{error.value:+.{places}f}"
    if not value.strip("+-0."):
        value = value[1:]
    return f"{value.replace('-', MINUS)} ± {half:.{places}f} c"
