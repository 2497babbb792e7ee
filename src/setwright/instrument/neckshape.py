"""The neck as it stands under its strings: shape, string line and what moves them.

Everything a gauge reads along one string is linear in four unknowns, with the straight neck's line of crowns as zero:
`bow` and `second` (physics.clearance.profile), `nut` (underside of the string in its slot) and `saddle` (underside at
the saddle). A reading is the gap over the crown of one fret under a straight line between two stops; so relief, string
height and first-fret clearance are one formula (docs/physics-clearance, 18). Crowns of equal height are assumed; the
forward shift of the bent neck (some hundredths of a millimetre) is left out. Nothing here has a batch axis except where
it is said.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.fan import crossings, nut_places, string_scales
from setwright.instrument.geometry import board_height, neck_point, nut_contact
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.clearance import fall_away, lean_height
from setwright.physics.frets import fret_position
from setwright.physics.neck import bent_height
from setwright.physics.neck import bow as neck_bow

UNKNOWNS = ("bow", "second", "nut", "saddle")
SADDLE = -1  # as the end of a line: the string runs on to its saddle


@frozen
class Board:
    """Where the stops of one string lie."""

    scale: float  # m, of this string
    joint_x: float  # m, from here to the nut the neck bends
    saddle_x: float  # m, of the string's saddle contact
    frets: int
    nut_x: float = 0.0  # m, of the nut under this string; not 0 where frets are fanned

    def __post_init__(self) -> None:
        if not (0.2 <= self.scale <= 1.5 and 0.05 <= self.joint_x < self.scale and 1 <= self.frets <= 36):
            raise InputError(
                f"a board of scale {self.scale} m, joint {self.joint_x} m and {self.frets} frets cannot be; allowed "
                "are 0.2 to 1.5 m, a joint 0.05 m or more from the nut and before the bridge, and 1 to 36 frets."
            )
        if not float(fret_position(self.scale, self.frets)) < self.saddle_x - self.nut_x <= 1.1 * self.scale:
            raise InputError(f"a saddle {self.saddle_x} m from the nut does not go with a scale of {self.scale} m.")


@frozen
class NeckShape:
    """What is known of the four unknowns: a Gaussian."""

    board: Board
    mean: Array  # (4) 1/m, 1/m, m, m: UNKNOWNS
    covariance: Array  # (4, 4)


@frozen
class Known:
    """A value [m] with its standard uncertainty [m]."""

    value: float
    standard_uncertainty: float


def board_of(traits: Traits, string: int) -> Board:
    """Board of one string of an unbatched instrument, plate level.

    Args:
        traits: the instrument.
        string: number of the string, 1 the thinnest [1].
    Returns: the board.
    Raises: InputError for a string it does not have.
    """
    if not 1 <= string <= traits.string_count:
        raise InputError(f"string {string} does not exist; there are 1 to {traits.string_count}.")
    board, bridge = traits.fretboard, traits.bridge
    saddle = float(bridge.pivot_x + bridge.saddle_aft[string - 1])
    joint = float(traits.neck.joint_x)
    if not traits.fanned:
        return Board(float(board.scale), joint, saddle, board.frets)
    scale, nut_x = (float(v[string - 1]) for v in (string_scales(traits), nut_places(traits)))
    return Board(scale, joint, saddle, board.frets, nut_x)


def centre_board(traits: Traits) -> Board:
    """Board along which relief is read and told: the centre line of a fanned board, string 1 of a straight one.

    Args:
        traits: the instrument, unbatched.
    Returns: the board.
    """
    if not traits.fanned:
        return board_of(traits, 1)
    board, bridge = traits.fretboard, traits.bridge
    saddle = float(bridge.pivot_x + np.mean(bridge.saddle_aft))
    return Board(float(board.scale), float(traits.neck.joint_x), saddle, board.frets)


def _crowns(board: Board, fret: ArrayLike) -> tuple[Array, Array]:
    """Place of frets and how bow and second lift them, (...) and (..., 2)."""
    x = board.nut_x + np.asarray(fret_position(board.scale, fret))
    lift = (bent_height(x, board.joint_x, 0.1), lean_height(x, board.joint_x, 0.1))
    return x, np.stack(lift, axis=-1) / 0.1


def line_row(board: Board, start: ArrayLike, end: ArrayLike, read: ArrayLike) -> Array:
    """Derivative of a reading by the four unknowns: gap at a crown under the line between two stops; docs (18).

    Args:
        board: the stops.
        start: (...) fret the line starts on; 0: the string lies in the nut slot [1].
        end: (...) fret it ends on; SADDLE (-1): it runs on to the saddle [1].
        read: (...) fret where the gap is read [1].
    Returns: (..., 4) [m2, m2, 1, 1].
    Raises: InputError for frets the board does not have or out of order.
    """
    a, b, c = np.broadcast_arrays(*(np.asarray(v) for v in (start, end, read)))
    to_saddle = b == SADDLE
    if np.any(a < 0) or np.any(c > board.frets) or np.any(np.where(to_saddle, c, b) > board.frets):
        raise InputError(f"this board has frets 1 to {board.frets}; a reading names one it does not have.")
    if np.any(c <= a) or np.any(~to_saddle & (b <= c)):
        raise InputError("a gap is read between the two stops of its line; give start, reading and end in order.")
    (x_a, lift_a), (x_c, lift_c) = _crowns(board, a), _crowns(board, c)
    x_b, lift_b = _crowns(board, np.where(to_saddle, board.frets, b))
    x_b = np.where(to_saddle, board.saddle_x, x_b)
    lift_b = np.where(to_saddle[..., None], 0.0, lift_b)
    t = (x_c - x_a) / (x_b - x_a)
    shape = (1.0 - t)[..., None] * lift_a + t[..., None] * lift_b - lift_c
    ends = np.stack([(1.0 - t) * (a == 0), t * to_saddle], axis=-1)
    return np.concatenate([shape, ends], axis=-1)


def seen(shape: NeckShape, row: Array) -> Known:
    """Value and standard uncertainty of one linear reading.

    Args:
        shape: what is known.
        row: (4) from `line_row` [m2, m2, 1, 1].
    Returns: value and uncertainty [m].
    """
    variance = max(float(row @ shape.covariance @ row), 0.0)
    return Known(float(row @ shape.mean), math.sqrt(variance))


def relief_under(shape: NeckShape, hold: tuple[int, int], read: int) -> Known:
    """Relief under any pair of stops; negative for back-bow, where a held string would show nothing.

    Args:
        shape: what is known.
        hold: frets the string is held at or the straightedge rests on [1].
        read: fret between them where the gap is read [1].
    Returns: value and uncertainty [m].
    Raises: InputError for frets out of order or off the board.
    """
    if hold[0] < 1:
        raise InputError(f"relief is read from a crown: hold fret 1 or a higher one, not {hold[0]}.")
    return seen(shape, line_row(shape.board, hold[0], hold[1], read))


def height_under(shape: NeckShape, fret: int, capo: int | None = None, held: int | None = None) -> Known:
    """String height, crown to underside, open or with a capo; or first-fret clearance with the string held further up.

    Args:
        shape: what is known.
        fret: where it is read [1].
        capo: fret of a capo, None for the open string [1].
        held: fret the string is held at beyond the one read, None when it runs free to the saddle [1].
    Returns: value and uncertainty [m].
    Raises: InputError for frets out of order or off the board.
    """
    end = SADDLE if held is None else held
    return seen(shape, line_row(shape.board, capo or 0, end, fret))


def bow_change(tension_change: ArrayLike, string_line: ArrayLike, bending: ArrayLike) -> Array:
    """Change of bow when the sum of the tensions changes: string_line dT / EI, the one stiffness of `physics.neck.bow`.

    Args:
        tension_change: (...) new sum of tensions less the old one, 0 or more; swap the sign of the result for less [N].
        string_line: (...) strings over the neutral axis [m].
        bending: (...) EI [N m2].
    Returns: (...) [1/m].
    Raises: RangeError as `physics.neck.bow`.
    """
    change = np.asarray(tension_change, dtype=np.float64)
    more = neck_bow(np.abs(change)[..., None], 0.0, 0.0, string_line, 0.0, 0.0, bending)
    return np.asarray(np.sign(change) * more)


def relief_change(board: Board, change: ArrayLike, hold: tuple[int, int], read: int) -> Array:
    """Change of relief with a change of bow, under a named convention.

    Args:
        board: the stops.
        change: (...) of bow [1/m].
        hold: frets held [1].
        read: fret read [1].
    Returns: (...) [m].
    """
    return np.asarray(np.asarray(change, dtype=np.float64) * line_row(board, hold[0], hold[1], read)[0])


def height_changes(board: Board, change: ArrayLike, frets: ArrayLike | None = None, capo: int | None = None) -> Array:
    """Change of string height with a change of bow, nut slot and saddle left alone.

    Args:
        board: the stops.
        change: (...) of bow [1/m].
        frets: (F) where, None for every fret [1].
        capo: fret of a capo, None for the open string [1].
    Returns: (..., F) [m].
    """
    where = np.arange((capo or 0) + 1, board.frets + 1) if frets is None else np.asarray(frets)
    per_bow = line_row(board, capo or 0, SADDLE, where)[..., 0]
    return np.asarray(np.asarray(change, dtype=np.float64)[..., None] * per_bow)


@frozen
class RodResponse:
    """What a turn of the truss rod does to the bow: learned on the instrument, never taken for granted."""

    per_turn: float  # 1/m per turn, tighter > 0, so usually < 0
    standard_uncertainty: float  # 1/m per turn


def rod_response(per_turn: float, standard_uncertainty: float | None = None) -> RodResponse:
    """A first guess of the rod's response; unless told otherwise as uncertain as it is large.

    Args:
        per_turn: guess [1/m per turn].
        standard_uncertainty: of the guess, None for its own size [1/m per turn].
    Returns: the response.
    Raises: InputError for what is not finite, or no uncertainty at all.
    """
    u = abs(per_turn) if standard_uncertainty is None else standard_uncertainty
    if not (np.isfinite(per_turn) and np.isfinite(u) and u > 0.0):
        raise InputError(f"a rod response of {per_turn} with an uncertainty of {u} per turn cannot be used; give both.")
    return RodResponse(float(per_turn), float(u))


def learn_rod(before: RodResponse, turns: float, change: float, uncertainty: float) -> RodResponse:
    """The rod's response after one turn was made and its effect read (Gaussian update, derived here).

    Args:
        before: what was thought.
        turns: made, tighter > 0 [1].
        change: of the bow that followed, from two readings of relief [1/m].
        uncertainty: standard uncertainty of that change [1/m].
    Returns: what is now known.
    Raises: InputError for turns of zero or an uncertainty not above zero.
    """
    if not (np.isfinite(turns) and turns != 0.0 and np.isfinite(change) and np.isfinite(uncertainty)):
        raise InputError("nothing is learned from a rod that was not turned; give turns and the change they made.")
    if uncertainty <= 0.0:
        raise InputError("the change of bow needs a standard uncertainty greater than zero; give that of the gauge.")
    prior, fresh = before.standard_uncertainty**-2, (turns / uncertainty) ** 2
    mean = (prior * before.per_turn + fresh * change / turns) / (prior + fresh)
    return RodResponse(float(mean), float((prior + fresh) ** -0.5))


def turn_rod(shape: NeckShape, response: RodResponse, turns: float) -> NeckShape:
    """The neck after a turn of the rod: bow and its uncertainty move, slot and saddle stay, tension brought back.

    Args:
        shape: before.
        response: of the rod.
        turns: tighter > 0 [1].
    Returns: the shape after.
    """
    unit = np.eye(len(UNKNOWNS))[0]
    spread = (turns * response.standard_uncertainty) ** 2
    return NeckShape(
        shape.board, shape.mean + unit * turns * response.per_turn, shape.covariance + spread * np.outer(unit, unit)
    )


def stop_points(
    traits: Traits,
    settings: Settings,
    bow: Array,
    second: ArrayLike = 0.0,
    single: ArrayLike = 0.0,
    fall_from: int | None = None,
    fall: ArrayLike = 0.0,
) -> tuple[Array, Array]:
    """Nut slot and every crown under every string, in the body frame: what `physics.clearance` asks for.

    Args:
        traits: the instrument, with or without a batch axis.
        settings: shims, slot cuts [m].
        bow: (...) [1/m].
        second: (...) second mode [1/m].
        single: (F) or (..., S, F) height of single frets off the line [m].
        fall_from: fret from which the board falls away, None for none [1].
        fall: () fall at the last fret, down > 0 [m].
    Returns: x and y (..., S, F + 1) [m].
    Raises: InputError for a fret the board does not have.
    """
    board, nut, bridge = traits.fretboard, traits.nut, traits.bridge
    numbers = np.arange(1, board.frets + 1)
    start, end = nut_places(traits), np.asarray(bridge.pivot_x)[..., None] + bridge.saddle_aft
    x = crossings(traits, numbers, start, end)
    share = (x - start[..., None]) / (end - start)[..., None]
    z = nut.z[..., None] + share * (bridge.saddle_z - nut.z)[..., None]
    flat = z.reshape(*z.shape[:-2], -1)
    base = board_height(traits, np.broadcast_to(x, z.shape).reshape(flat.shape), flat)
    joint = np.asarray(traits.neck.joint_x)[..., None, None]
    y = base.reshape(*base.shape[:-1], *z.shape[-2:]) + np.asarray(board.crown)[..., None, None]
    y = y + lean_height(x, joint, np.asarray(second)[..., None, None]) + np.asarray(single)
    if fall_from is not None:
        if not 0 <= fall_from < board.frets:
            raise InputError(f"a board of {board.frets} frets cannot fall away from fret {fall_from}.")
        y = y - fall_away(x, x[..., fall_from - 1 : fall_from] if fall_from else 0.0, x[..., -1:], fall)
    lead = np.broadcast_shapes(y.shape[:-2], np.shape(bow))
    y = np.broadcast_to(y, (*lead, *y.shape[-2:]))
    along = np.broadcast_to(x, y.shape).reshape(*lead, -1)
    crown_x, crown_y = neck_point(traits, settings, along, y.reshape(*lead, -1), bow)
    nut_x, nut_y = nut_contact(traits, settings, bow)
    lifted = nut_y + _lean_at_nut(traits, start, second)
    full = (*lead, *y.shape[-2:])
    points = (nut_x, crown_x), (lifted, crown_y)
    xs, ys = (np.concatenate([np.broadcast_to(n, full[:-1])[..., None], c.reshape(full)], axis=-1) for n, c in points)
    return xs, ys


def _lean_at_nut(traits: Traits, start: Array, second: ArrayLike) -> Array:
    """(..., S) or (..., 1) rise of the nut by the second mode [m]."""
    if not traits.fanned:
        return lean_height(0.0, traits.neck.joint_x, second)[..., None]
    return lean_height(start, np.asarray(traits.neck.joint_x)[..., None], np.asarray(second)[..., None])
