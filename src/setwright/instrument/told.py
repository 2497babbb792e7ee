"""An instrument as the line protocol tells it, turned into traits, and how far it is to be believed.

The protocol's plate points are [aft, up] as here; its z runs to the treble side, ours to the bass side; its pairs stand
(bass, treble) by the sign of their z. What it tells is nominal: the truth is scattered about it by workshop tolerances.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from setwright.errors import FileFormatError
from setwright.instrument.prior import Prior, Uncertain, prior
from setwright.instrument.traits import (
    Array,
    Bridge,
    Claw,
    Fretboard,
    Neck,
    Nut,
    Springs,
    Strings,
    Thermal,
    Traits,
    array,
)

STRAIN_AT_BREAK = 0.0107  # music wire, 2.2 GPa over 205 GPa; from memory
WHERE = "told"


class _Told:
    """Nested fields with names in errors."""

    def __init__(self, value: Any, where: str) -> None:
        if not isinstance(value, dict):
            raise FileFormatError(f"{where}: expected an object of fields, got {type(value).__name__}")
        self.value, self.where = value, where

    def part(self, name: str) -> _Told:
        return _Told(self._get(name), f"{self.where}.{name}")

    def _get(self, name: str) -> Any:
        if name not in self.value:
            raise FileFormatError(f"{self.where}: the field {name!r} is missing; it is needed to plan")
        return self.value[name]

    def numbers(self, name: str, shape: tuple[int, ...]) -> Array:
        """A number or a list of them; -1 in the shape: any count."""
        where = f"{self.where}.{name}"
        try:
            out = np.asarray(self._get(name), dtype=np.float64)
        except (TypeError, ValueError):
            raise FileFormatError(f"{where}: expected numbers only") from None
        fits = out.ndim == len(shape) and all(want in (-1, got) for want, got in zip(shape, out.shape, strict=True))
        if not fits or not np.all(np.isfinite(out)):
            wanted = " x ".join("some" if n == -1 else str(n) for n in shape) or "one"
            raise FileFormatError(f"{where}: expected {wanted} finite number(s), got {self.value[name]!r}")
        return array(out)

    def number(self, name: str) -> Array:
        return self.numbers(name, ())

    def flag(self, name: str) -> bool:
        value = self._get(name)
        if not isinstance(value, bool):
            raise FileFormatError(f"{self.where}.{name}: expected true or false, got {value!r}")
        return value


def traits_told(told: Any) -> Traits:
    """Traits from the protocol's `told`.

    Args:
        told: the decoded object.
    Returns: the nominal instrument, pairs ordered (treble, bass).
    Raises: FileFormatError naming the field that is missing or wrong.
    """
    top = _Told(told, WHERE)
    count = top.part("strings").numbers("f", (-1,)).size
    scale, frets = top.number("scale"), int(top.number("frets"))
    board = top.part("fretboard")
    return Traits(
        strings=_strings(top.part("strings"), count),
        nut=_nut(top, count),
        fretboard=Fretboard(
            scale, board.number("y"), board.number("radius_nut"), board.number("radius_end"), board.number("crown"),
            frets,
        ),
        neck=_neck(top.part("neck")),
        bridge=_bridge(top, count),
        springs=_springs(top.part("springs")),
        claw=_claw(top.part("claw")),
        thermal=_thermal(top.part("thermal")),
    )  # fmt: skip


def _strings(part: _Told, count: int) -> Strings:
    axial = part.numbers("EA", (count,))
    return Strings(
        part.numbers("dia", (count,)), part.numbers("mu0", (count,)), axial, part.numbers("EI", (count,)),
        STRAIN_AT_BREAK * axial,
    )  # fmt: skip


def _nut(top: _Told, count: int) -> Nut:
    strings, nut = top.part("strings"), top.part("nut")
    return Nut(
        nut.numbers("slot", (count,)), -nut.numbers("z", (count,)), strings.numbers("back", (count,)),
        strings.numbers("capstan", (count,)), nut.flag("locked"),
    )  # fmt: skip


def _neck(part: _Told) -> Neck:
    names = "angle x_mouth y_mouth lever_shim pocket x_joint kappa0 h EI rod_moment rod_per_turn"
    return Neck(*(part.number(name) for name in names.split()))


def _treble_first(z: Array, *pairs: Array) -> tuple[Array, ...]:
    """Pairs in the order (treble, bass): the protocol's greater z first; z turned to our direction."""
    order = np.argsort(-z)
    return (-z[order], *(pair[order] for pair in pairs))


def _bridge(top: _Told, count: int) -> Bridge:
    part = top.part("bridge")
    saddle, anchor = part.numbers("saddle", (count, 2)), part.numbers("anchor", (count, 2))
    pivot_z, pivot_y = _treble_first(part.numbers("pivot_z", (2,)), part.numbers("pivot_y", (2,)))
    (rear_z,) = _treble_first(part.numbers("rear_z", (2,)))
    rear, cg = part.numbers("rear", (2,)), part.numbers("cg", (2,))
    return Bridge(
        knife_edge=True,
        clamped=part.flag("clamped"),
        pivot_x=part.number("pivot_x"),
        pivot_y=pivot_y,
        pivot_z=pivot_z,
        pivot_lead=part.number("pivot_lead"),
        pivot_range=array([pivot_y.min() - 0.004, pivot_y.max() + 0.006]),
        saddle_aft=saddle[:, 0],
        saddle_up=saddle[:, 1],
        saddle_z=-part.numbers("saddle_z", (count,)),
        height_lead=part.number("height_lead"),
        height_range=part.numbers("height_range", (2,)),
        length_lead=part.number("length_lead"),
        length_range=part.numbers("length_range", (2,)),
        anchor_aft=anchor[:, 0],
        anchor_up=anchor[:, 1],
        rear_aft=rear[0],
        rear_up=rear[1],
        rear_z=rear_z,
        front_aft=array(-0.002),
        front_up=array(0.0),  # no front edge is told: this one meets nothing
        deck_y=part.number("deck_y"),
        block_aft_point=part.numbers("block_aft", (2,)),
        cavity_aft=part.number("cavity_aft"),
        block_fore_point=part.numbers("block_fore", (2,)),
        cavity_fore=part.number("cavity_fore"),
        mass=part.number("mass"),
        centre_aft=cg[0],
        centre_up=cg[1],
        knife_friction=top.part("friction").number("knife"),
    )


def _springs(part: _Told) -> Springs:
    hooks = part.numbers("hooks", (-1, 3))
    places = len(hooks)
    one = np.ones(places)
    patterns = part.value.get("patterns")
    if not isinstance(patterns, dict) or not patterns:
        raise FileFormatError(f"{part.where}.patterns: expected the places used for every number of springs")
    try:
        used = {int(n): tuple(int(i) for i in where) for n, where in patterns.items()}
    except (TypeError, ValueError):
        raise FileFormatError(f"{part.where}.patterns: expected lists of places by number of springs") from None
    for n, where in used.items():
        if any(not 0 <= i < places for i in where):
            raise FileFormatError(f"{part.where}.patterns: {n} springs name a place outside 0 to {places - 1}")
    return Springs(
        part.number("k") * one, part.number("F0") * one, part.number("lfree") * one, part.number("k_closed") * one,
        hooks[:, 0], hooks[:, 1], -hooks[:, 2], -part.numbers("claw_z", (places,)), used,
    )  # fmt: skip


def _claw(part: _Told) -> Claw:
    (screw_z,) = _treble_first(part.numbers("screw_z", (2,)))
    return Claw(
        part.number("x_wall"), part.number("y"), part.number("angle"), part.number("lead"),
        part.numbers("d_range", (2,)), screw_z,
    )  # fmt: skip


def _thermal(part: _Told) -> Thermal:
    return Thermal(part.number("T_ref"), part.number("alpha_string"), part.number("alpha_body"), part.number("beta_E"))


def _each(name: str, label: str, path: str, count: int, kind: Any, sd: float, unit: str) -> list[Uncertain]:
    return [Uncertain(f"{name}[{i}]", f"{label}, string {i + 1}", path, i, kind, sd, unit, WHERE) for i in range(count)]


def believed(traits: Traits) -> Prior:
    """How far a told instrument may be off, part by part; the sizes the protocol names, the rest workshop tolerances.

    Args:
        traits: the nominal instrument.
    Returns: independent deviations.
    """
    count = traits.string_count
    whole = [
        ("springs.rate", "spring rate", "factor", 0.15, "N/m"),
        ("springs.initial", "initial tension", "factor", 0.20, "N"),
        ("springs.free", "free length of the springs", "offset", 1e-3, "m"),
        ("springs.hook_aft", "hooks of the block, aft", "offset", 1e-3, "m"),
        ("springs.hook_up", "hooks of the block, height", "offset", 1e-3, "m"),
        ("claw.y", "height of the claw", "offset", 1e-3, "m"),
        ("bridge.saddle_up", "height of the saddles over the pivot", "offset", 1e-3, "m"),
        ("bridge.saddle_aft", "saddles behind the pivot", "offset", 1e-3, "m"),
        ("bridge.anchor_up", "string ends in the block, height", "offset", 1e-3, "m"),
        ("bridge.anchor_aft", "string ends in the block, aft", "offset", 1e-3, "m"),
        ("bridge.rear_aft", "rear edge behind the pivot", "offset", 0.5e-3, "m"),
        ("bridge.centre_aft", "centre of mass, aft", "offset", 1e-3, "m"),
        ("bridge.centre_up", "centre of mass, height", "offset", 1e-3, "m"),
        ("neck.bending", "neck stiffness", "factor", 0.30, "N m2"),
        ("neck.string_line", "string line over the neck", "offset", 1e-3, "m"),
    ]
    parts = [Uncertain(name, label, name, None, kind, sd, unit, WHERE) for name, label, kind, sd, unit in whole]  # type: ignore[arg-type]
    parts += _each("strings.axial", "stretch stiffness", "strings.axial", count, "factor", 0.08, "N")
    parts += _each("nut.behind", "string behind the nut", "nut.behind", count, "offset", 5e-3, "m")
    parts += _each("saddle", "height of the saddle", "bridge.saddle_up", count, "offset", 0.2e-3, "m")
    return prior(tuple(parts))
