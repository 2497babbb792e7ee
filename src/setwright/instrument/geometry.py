"""Where everything lies: from traits and settings to the rig of the balance, and back to what a rule would read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setwright.frozen import replace
from setwright.instrument.fan import crossings, nut_places
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Mask, Traits
from setwright.physics.balance import SPRING_FIELDS, STRING_FIELDS, Rig
from setwright.physics.frets import board_radius, drop, fret_position
from setwright.physics.neck import bent_height, bent_shift, rotate, strip_angle, wedge_angle

GRAVITY = 9.80665  # m/s2, standard (ISO 80000-3)
# direction of gravity in the plane of tilt (x towards the bridge end, y up from the top); playing: along z, no moment
DOWN = {"playing": (0.0, 0.0), "on its back": (0.0, -1.0), "upright": (1.0, 0.0), "face down": (0.0, 1.0)}
LOWER_STOPS = ("rear edge on the body", "block at the front cavity wall", "wedge under the rear edge", "blocked")
UPPER_STOPS = ("block at the rear cavity wall", "front edge on the body", "blocked")


def _last(value: Array) -> Array:
    """() or (B,) -> (1,) or (B, 1), to go with a trailing axis."""
    return np.asarray(value)[..., None]


def neck_angle(traits: Traits, settings: Settings) -> Array:
    """Angle of the neck with its shims, > 0 when the headstock tips back.

    Args:
        traits: the instrument.
        settings: with strip, wedge shim [m].
    Returns: (...) [rad].
    """
    neck = traits.neck
    strip = strip_angle(settings.strip, neck.shim_lever)
    return np.asarray(neck.angle + strip + wedge_angle(settings.wedge_shim, neck.pocket))


def neck_point(traits: Traits, settings: Settings, x: Array, y: Array, bow: Array) -> tuple[Array, Array]:
    """Where a point of the straight, unshimmed neck comes to lie once bowed, shimmed and lifted.

    Args:
        traits: the instrument.
        settings: shims [m].
        x: (..., n) along the straight neck [m].
        y: (..., n) over the body top [m].
        bow: (...) [1/m].
    Returns: x, y (..., n) [m].
    """
    neck = traits.neck
    joint, curve = _last(neck.joint_x), _last(bow)
    bent_x = x + bent_shift(x, joint, curve, _last(neck.string_line))
    bent_y = y + bent_height(x, joint, curve)
    angle = _last(neck_angle(traits, settings))
    turned_x, turned_y = rotate(bent_x, bent_y, _last(neck.mouth_x), _last(neck.mouth_y), angle)
    return turned_x, turned_y + _last(settings.flat)


def board_height(traits: Traits, x: Array, z: Array) -> Array:
    """Height of the straight fretboard's surface over the body top.

    Args:
        traits: the instrument.
        x: (..., n) [m].
        z: (..., n) [m].
    Returns: (..., n) [m].
    """
    board = traits.fretboard
    end = fret_position(board.scale, board.frets)
    radius = board_radius(x, _last(end), _last(board.radius_nut), _last(board.radius_end))
    return np.asarray(_last(board.height) - drop(radius, z))


def nut_contact(traits: Traits, settings: Settings, bow: Array) -> tuple[Array, Array]:
    """Underside of every string at the nut.

    Args:
        traits: the instrument.
        settings: shims and slot cuts [m].
        bow: (...) [1/m].
    Returns: x, y (..., S) [m].
    """
    nut = traits.nut
    x = nut_places(traits)
    y = board_height(traits, x, nut.z) + nut.slot - settings.slot_cut
    return neck_point(traits, settings, x, y, bow)


def across(low: Array, z_pair: Array, z: Array) -> Array:
    """Value at z of something given at two places across the body.

    Args:
        low: (..., 2) values (treble, bass).
        z_pair: (..., 2) their z [m].
        z: (..., n) [m].
    Returns: (..., n), in the unit of `low`.
    """
    share = (z - z_pair[..., :1]) / (z_pair[..., 1:] - z_pair[..., :1])
    return np.asarray(low[..., :1] + share * (low[..., 1:] - low[..., :1]))


def pivot_line(traits: Traits, settings: Settings, z: Array) -> Array:
    """Height of the pivot line over the body top.

    Args:
        traits: the instrument.
        settings: pivot rise [m].
        z: (..., n) [m].
    Returns: (..., n) [m].
    """
    bridge = traits.bridge
    return across(bridge.pivot_y + settings.pivot_rise, bridge.pivot_z, z)


def saddle_place(traits: Traits, settings: Settings) -> tuple[Array, Array]:
    """Underside of every string at its saddle, plate level, relative to the pivot.

    Args:
        traits: the instrument.
        settings: saddle screws [m].
    Returns: aft, up (..., S) [m].
    """
    return traits.bridge.saddle_aft + settings.saddle_back, traits.bridge.saddle_up + settings.saddle_rise


def saddle_contact(traits: Traits, settings: Settings, tilt: Array) -> tuple[Array, Array]:
    """Underside of every string at its saddle, in the body frame.

    Args:
        traits: the instrument.
        settings: pivots and saddle screws [m].
        tilt: (...) [rad].
    Returns: x, y (..., S) [m].
    """
    aft, up = saddle_place(traits, settings)
    cos, sin = _last(np.cos(tilt)), _last(np.sin(tilt))
    x = _last(traits.bridge.pivot_x) + aft * cos - up * sin
    return x, pivot_line(traits, settings, traits.bridge.saddle_z) + aft * sin + up * cos


def crowns(traits: Traits, settings: Settings, tilt: Array, bow: Array, frets: Sequence[int]) -> tuple[Array, Array]:
    """Crown of every fret under every open string, where the string crosses it.

    Args:
        traits: the instrument.
        settings: its settings.
        tilt: (...) [rad].
        bow: (...) [1/m].
        frets: N numbers [1].
    Returns: x, y (..., S, N) [m].
    """
    x0, _ = nut_contact(traits, settings, bow)
    x1, _ = saddle_contact(traits, settings, tilt)
    z0, z1 = traits.nut.z, traits.bridge.saddle_z
    x = crossings(traits, frets, x0, x1)
    share = (x - x0[..., None]) / (x1 - x0)[..., None]
    z = z0[..., None] + share * (z1 - z0)[..., None]
    flat = (*z.shape[:-2], z.shape[-2] * z.shape[-1])
    along = np.broadcast_to(x, z.shape).reshape(flat)
    top = board_height(traits, along, z.reshape(flat)) + _last(traits.fretboard.crown)
    crown_x, crown_y = neck_point(traits, settings, along, top, bow)
    shape = (*crown_y.shape[:-1], *z.shape[-2:])
    return np.broadcast_to(crown_x, crown_y.shape).reshape(shape), crown_y.reshape(shape)


def edge_gap(traits: Traits, settings: Settings, tilt: Array, front: bool = False) -> Array:
    """Gap between the body top and the plate's bottom edge, at the treble and the bass end.

    Args:
        traits: the instrument.
        settings: pivots [m].
        tilt: (...) [rad].
        front: the front edge instead of the rear one [1].
    Returns: (..., 2) [m].
    """
    b = traits.bridge
    aft, up = (b.front_aft, b.front_up) if front else (b.rear_aft, b.rear_up)
    line = pivot_line(traits, settings, b.rear_z)
    return np.asarray(line + _last(aft * np.sin(tilt)) + _last(up * np.cos(tilt)))


def _tilt_where(aft: Array, up: Array, rise: Array) -> Array:
    """Tilt at which aft sin(tilt) + up cos(tilt) = rise; the end of the range where it is out of reach."""
    ratio = np.minimum(np.maximum(rise / np.hypot(aft, up), -1.0), 1.0)
    return np.asarray(np.arcsin(ratio) - np.arctan2(up, aft))


def _greater(pair: Array) -> Array:
    """(...) the greater of the two ends (..., 2)."""
    return np.maximum(pair[..., 0], pair[..., 1])


def tilt_for_gap(traits: Traits, settings: Settings, gap: Array) -> Array:
    """Tilt at which the rear edge stands at a gap over the body top, mean of both ends.

    Args:
        traits: the instrument.
        settings: pivots [m].
        gap: (...) [m].
    Returns: (...) [rad].
    """
    b = traits.bridge
    return _tilt_for_gap(traits, pivot_line(traits, settings, b.rear_z), gap)


def _tilt_for_gap(traits: Traits, line: Array, gap: Array) -> Array:
    return _tilt_where(traits.bridge.rear_aft, traits.bridge.rear_up, gap - 0.5 * (line[..., 0] + line[..., 1]))


def stops(traits: Traits, settings: Settings) -> tuple[list[Array], list[Array]]:
    """Tilt at which every stop is met: lower ones in the order of LOWER_STOPS, upper ones of UPPER_STOPS.

    A wedge thicker than the plate's way up goes in only until the plate meets its upper stop.

    Args:
        traits: the instrument.
        settings: pivots, wedge, block [m].
    Returns: lists of (...) [rad]; -inf or inf where a stop is absent.
    """
    b = traits.bridge
    if not b.knife_edge:
        zero = np.zeros(np.broadcast_shapes(np.shape(b.pivot_x), np.shape(settings.strip)))
        return [zero], [zero]
    line = pivot_line(traits, settings, b.rear_z)
    deck = _greater(_tilt_where(_last(b.rear_aft), _last(b.rear_up), _last(b.deck_y) - line))
    nose = _greater(_tilt_where(_last(-b.front_aft), _last(b.front_up), _last(b.deck_y) - line))
    # x of a point of the block: aft cos - up sin = wall
    fore = _tilt_where(-b.block_fore_point[..., 1], b.block_fore_point[..., 0], b.cavity_fore)
    back = _tilt_where(-b.block_aft_point[..., 1], b.block_aft_point[..., 0], b.cavity_aft)
    propped = np.isfinite(settings.prop)
    wedge = np.minimum(_tilt_for_gap(traits, line, np.where(propped, settings.prop, 0.0)), np.minimum(back, -nose))
    fast = np.isfinite(settings.block)
    held = _tilt_for_gap(traits, line, np.where(fast, settings.block, 0.0)) if fast.any() else deck
    lower = [deck, fore, np.where(propped, wedge, -np.inf), np.where(fast, held, -np.inf)]
    return lower, [back, -nose, np.where(fast, held, np.inf)]


def tilt_limits(traits: Traits, settings: Settings) -> tuple[Array, Array]:
    """Lowest and highest tilt.

    Args:
        traits: the instrument.
        settings: pivots, wedge, block [m].
    Returns: two (...) [rad].
    """
    lower, upper = stops(traits, settings)
    low, high = lower[0], upper[0]
    for stop in lower[1:]:
        low = np.maximum(low, stop)
    for stop in upper[1:]:
        high = np.minimum(high, stop)
    return low, high


def has_room(traits: Traits, settings: Settings) -> Mask:
    """Whether the plate's stops leave it any room.

    Args:
        traits: the instrument.
        settings: pivots, wedge, block [m].
    Returns: (...) [1].
    """
    low, high = tilt_limits(traits, settings)
    return np.asarray(low <= high)


def claw_axis(traits: Traits) -> tuple[Array, Array]:
    """Direction of the claw screws, pointing away from the wall.

    Args:
        traits: the instrument.
    Returns: x, y (...) [1].
    """
    return np.cos(traits.claw.angle), np.sin(traits.claw.angle)


def hook_line(traits: Traits, settings: Settings) -> Array:
    """Distance from the wall of every spring's claw end.

    Args:
        traits: the instrument.
        settings: claw [m].
    Returns: (..., K) [m].
    """
    return across(settings.claw, traits.claw.screw_z, traits.springs.claw_z)


def string_growth(traits: Traits, settings: Settings) -> Array:
    """Unstretched length of a string now over its length at the reference temperature (docs/physics/balance, B22).

    Args:
        traits: the instrument.
        settings: with its temperature [K].
    Returns: (...) [1].
    """
    return np.asarray(1.0 + traits.thermal.string_expansion * (settings.temperature - traits.thermal.reference))


def with_lengths(traits: Traits, settings: Settings, lengths: Array) -> Settings:
    """Settings whose pegs hold given lengths of the present temperature: the way back from `build_rig`.

    Lengths in settings are those at the reference temperature, lengths in rigs those at the present one. `build_rig`
    carries the settings' pegs to a rig; nothing else does.

    Args:
        traits: the instrument.
        settings: its settings.
        lengths: (..., S) unstretched lengths as rigs have them, at the present temperature [m].
    Returns: the settings, lengths at the reference temperature.
    """
    return replace(settings, unstretched=lengths / _last(string_growth(traits, settings)))


def build_rig(traits: Traits, settings: Settings) -> Rig:
    """Lay out the balance of an instrument (docs/physics/rig, R1-R10).

    Args:
        traits: the instrument, with or without a batch axis.
        settings: with or without a batch axis; `unstretched` nan where a string is off.
    Returns: (B) rigs, B = 1 without a batch axis; strings by the settings' lengths, grown to the present temperature.
    """
    b, s, strings, claw = traits.bridge, traits.springs, traits.strings, traits.claw
    warm = settings.temperature - traits.thermal.reference
    grow = string_growth(traits, settings)
    soft = 1.0 - traits.thermal.modulus_fall * warm
    wood = 1.0 + traits.thermal.body_expansion * warm
    radius = 0.5 * strings.diameter
    low, high = tilt_limits(traits, settings)
    none = np.zeros_like(low)
    nut_x, nut_y = nut_contact(traits, settings, none)
    angle = neck_angle(traits, settings)
    nut_shift, nut_rise = _nut_per_bow(traits, angle)
    aft, up = saddle_place(traits, settings)
    behind = none[..., None] if traits.nut.locked else traits.nut.behind
    tail = none[..., None] if b.clamped else np.hypot(b.anchor_aft - aft, b.anchor_up - up - radius)
    ax, ay = claw_axis(traits)
    distance = hook_line(traits, settings)
    down = DOWN[settings.attitude]
    rod = traits.neck.rod_moment + traits.neck.rod_per_turn * settings.rod
    each = {
        "nut_x": nut_x * _last(wood) - _last(b.pivot_x) * _last(wood),
        "nut_y": nut_y + radius - pivot_line(traits, settings, b.saddle_z),
        "nut_x_per_bow": nut_shift,
        "nut_y_per_bow": nut_rise,
        "saddle_aft": aft,
        "saddle_up": up + radius,
        "aside": traits.nut.z - b.saddle_z,
        "dead": behind + tail,
        "unstretched": settings.unstretched * _last(grow),
        "hertz": np.full_like(b.saddle_z, np.nan),
        "unit_mass": strings.unit_mass / _last(grow),
        "axial": strings.axial * _last(soft),
        "bending": strings.bending * _last(soft),
        "hook_aft": s.hook_aft,
        "hook_up": s.hook_up,
        "claw_x": _last(claw.wall_x - b.pivot_x) + distance * _last(ax),
        "claw_y": _last(claw.y) + distance * _last(ay) - pivot_line(traits, settings, s.hook_z),
        "slant": s.claw_z - s.hook_z,
        "present": settings.springs,
        "rate": s.rate * _last(soft),
        "initial": s.initial * _last(soft),
        "free": s.free,
        "closed_rate": s.closed_rate,
        "weight_x": b.mass * GRAVITY * down[0],
        "weight_y": b.mass * GRAVITY * down[1],
        "centre_aft": b.centre_aft,
        "centre_up": b.centre_up,
        "bow_free": traits.neck.free_bow - rod / traits.neck.bending,
        "bow_stiffness": traits.neck.bending * traits.neck.joint_x,
        "tilt_low": low,
        "tilt_high": high,
    }
    return _batched(each, traits.string_count, int(s.hook_aft.shape[-1]), traits.fanned)


def _nut_per_bow(traits: Traits, angle: Array) -> tuple[Array, Array]:
    """Shift along x and rise of the nut per curvature, (...) or, on a fanned board, (..., S) [m2]."""
    line, joint = traits.neck.string_line, traits.neck.joint_x
    if traits.fanned:
        line, joint, angle = _last(line), _last(joint) - nut_places(traits), _last(angle)
    reach, rise = line * joint, 0.5 * joint**2
    return reach * np.cos(angle) - rise * np.sin(angle), reach * np.sin(angle) + rise * np.cos(angle)


def _batched(each: dict[str, Array], strings: int, places: int, fanned: bool) -> Rig:
    width = dict.fromkeys(STRING_FIELDS, strings) | dict.fromkeys(SPRING_FIELDS, places)
    if fanned:
        width |= dict.fromkeys(("nut_x_per_bow", "nut_y_per_bow"), strings)
    lead = np.broadcast_shapes(*{np.shape(v)[:-1] if name in width else np.shape(v) for name, v in each.items()})
    lead = lead or (1,)
    return Rig(**{name: _spread(v, (*lead, width[name]) if name in width else lead) for name, v in each.items()})


def _spread(value: Array, shape: tuple[int, ...]) -> Array:
    """A contiguous array of a shape: the value itself where it is one, else filled with it."""
    value = np.asarray(value)
    if value.shape == shape and value.flags.c_contiguous:
        return value
    out = np.empty(shape, value.dtype)
    out[...] = value
    return out
