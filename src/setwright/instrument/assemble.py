"""From an instrument file and its patterns to traits: the nominal instrument, and how far every trait is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.fan import fan_at_bridge
from setwright.instrument.fields import Field
from setwright.instrument.files import InstrumentFile
from setwright.instrument.instrument_fields import LAYOUT
from setwright.instrument.predict import string_heights
from setwright.instrument.prior import Prior, Uncertain, prior
from setwright.instrument.quantities import Amount
from setwright.instrument.settings import Settings
from setwright.instrument.string_sets import Gauge, string_parts, strings_from
from setwright.instrument.traits import (
    Array,
    Bridge,
    Claw,
    Fretboard,
    Neck,
    Nut,
    Playing,
    Springs,
    Thermal,
    Traits,
    array,
)

_SI_UNITS = {"length": "m", "lead": "m", "place": "m", "rate": "N/m", "force": "N", "angle": "rad", "mass": "kg",
             "moment": "N m", "moment per turn": "N m", "rigidity": "N m2", "curvature": "1/m", "expansion": "1/K",
             "temperature": "K", "number": "1", "ratio": "1"}  # fmt: skip
_FIXED_ONLY = ("strings", "nut", "neck", "fretboard", "thermal", "playing")  # what matters of a fixed bridge
USUAL_BOW = (
    0.014  # 1/m, of a neck with .25 mm of relief (hold 1 and 17, read at 8) at 25.5 in; common practice, no source
)


@frozen
class Stated:
    """One field of the instrument: what is taken for it, how well it is known [SI], and whether it was typed."""

    table: str
    key: str
    trait: str  # "group.field" in Traits
    label: str
    text: str  # as written, in the file or in the catalogue
    band: float  # standard uncertainty in SI
    typed: bool
    source: str


@frozen
class Assembled:
    """An instrument ready to be predicted."""

    traits: Traits
    prior: Prior
    stated: tuple[Stated, ...]


def assemble(instrument: InstrumentFile, gauges: Sequence[Gauge]) -> Assembled:
    """Assemble the nominal instrument with a set of strings, and what is uncertain about it.

    A typed value goes before the catalogue's, with its ± or, without one, half a step of its writing. A list of the
    catalogue made for another number of strings is read off at the same share of the way across.

    Args:
        instrument: the file.
        gauges: (S) the set that is on, from the thinnest.
    Returns: traits, what is uncertain, and where every trait comes from.
    Raises: InputError where the number of strings differs; RangeError where the geometry is impossible.
    """
    if len(gauges) != instrument.strings:
        raise InputError(
            f"{instrument.file}: the set has {len(gauges)} strings, {instrument.name} has "
            f"{instrument.strings}; mend one of them."
        )
    traits = Traits(
        strings=strings_from(gauges),
        nut=_nut(instrument),
        fretboard=_fretboard(instrument),
        neck=_neck(instrument),
        bridge=_bridge(instrument),
        springs=_springs(instrument),
        claw=_claw(instrument),
        thermal=_thermal(instrument),
        playing=_playing(instrument),
    )
    traits = _with_saddle_heights(instrument, traits)
    stated = tuple(_stated(instrument))
    return Assembled(traits, prior(string_parts(gauges) + _parts(instrument, traits)), stated)


def untouched(traits: Traits) -> Settings:
    """Settings of an instrument as its traits describe it: nothing turned, no shims, no springs, strings off.

    Args:
        traits: the instrument, unbatched.
    Returns: the settings; claw in the middle of its travel.
    """
    zero, none = array(0.0), array(np.nan)
    count = traits.string_count
    return Settings(
        unstretched=np.full(count, np.nan),
        claw=np.full(2, traits.claw.travel.mean()),
        springs=np.zeros(traits.springs.rate.shape[-1]),
        pivot_rise=np.zeros(2),
        saddle_rise=np.zeros(count),
        saddle_back=np.zeros(count),
        strip=zero,
        wedge_shim=zero,
        flat=zero,
        rod=zero,
        slot_cut=np.zeros(count),
        prop=none,
        block=none,
    )


def _values(instrument: InstrumentFile, table: str, key: str) -> tuple[Amount, ...]:
    value: tuple[Amount, ...] = instrument.entry(table, key)[0].value
    return value


def _one(instrument: InstrumentFile, table: str, key: str) -> Array:
    """A single value, signed as the trait."""
    item = LAYOUT.table(table).index[key]
    first = _values(instrument, table, key)[0]
    if first.written.unit == "fret":
        return array(first.si * _values(instrument, "instrument", "scale")[0].si)
    return array(item.sign * first.si + 0.0)


def _many(instrument: InstrumentFile, table: str, key: str, count: int) -> Array:
    """Values by string or by side, signed as the trait; a list of another length is read off between."""
    item = LAYOUT.table(table).index[key]
    got = np.array([one.si for one in _values(instrument, table, key)])
    if got.size == 1:
        return np.full(count, item.sign * got[0] + 0.0)
    across = np.interp(np.linspace(0.0, 1.0, count), np.linspace(0.0, 1.0, got.size), got)
    return np.asarray(item.sign * across + 0.0)


def _spread(instrument: InstrumentFile, table: str, key: str, count: int) -> Array:
    """Places from treble to bass, evenly spaced about the centre line."""
    half = 0.5 * _values(instrument, table, key)[0].si
    return np.linspace(-half, half, count) if count > 1 else np.zeros(1)


def _nut(i: InstrumentFile) -> Nut:
    return Nut(
        slot=_many(i, "nut", "slot", i.strings),
        z=_spread(i, "nut", "string_spread", i.strings),
        behind=_many(i, "nut", "behind", i.strings),
        capstan=_many(i, "nut", "friction", i.strings),
        locked=bool(i.entry("nut", "locked")[0].value),
    )


def _fretboard(i: InstrumentFile) -> Fretboard:
    radius = _many(i, "instrument", "radius", 2)
    return Fretboard(
        scale=_one(i, "instrument", "scale"),
        height=_one(i, "neck", "board_height"),
        radius_nut=array(radius[0]),
        radius_end=array(radius[1]),
        crown=_one(i, "instrument", "fret_height"),
        frets=i.frets,
        fan=array(0.0 if i.fan is None else i.fan.bass - i.fan.treble),
        square=array(0.0 if i.fan is None else i.fan.square),
    )


def _neck(i: InstrumentFile) -> Neck:
    return Neck(
        angle=_one(i, "neck", "angle"),
        mouth_x=_one(i, "neck", "mouth"),
        mouth_y=_one(i, "neck", "mouth_depth"),
        shim_lever=_one(i, "neck", "shim_place"),
        pocket=_one(i, "neck", "pocket"),
        joint_x=_one(i, "neck", "joint"),
        free_bow=_one(i, "neck", "forward_bow"),
        string_line=_one(i, "neck", "string_line"),
        bending=_one(i, "neck", "stiffness"),
        rod_moment=_one(i, "neck", "rod_moment"),
        rod_per_turn=_one(i, "neck", "rod_per_turn"),
    )


def _pivot_and_saddles(i: InstrumentFile) -> tuple[Array, Array]:
    """Pivot place, and every saddle aft of it: saddles stand behind the scale length by their compensation."""
    scale = _one(i, "instrument", "scale")
    compensation = _many(i, "bridge", "compensation", i.strings) + _fanned(i)
    if ("bridge", "saddle_aft") in i.given:
        aft = _many(i, "bridge", "saddle_aft", i.strings)
        pivot = scale - (aft.mean() - compensation.mean())
        return (_one(i, "bridge", "pivot_place") if ("bridge", "pivot_place") in i.given else array(pivot)), aft
    if ("bridge", "pivot_place") in i.given:
        pivot = _one(i, "bridge", "pivot_place")
        return pivot, scale + compensation - pivot
    reach = _one(i, "bridge", "reach")
    return array(scale - reach), reach + compensation


def _fanned(i: InstrumentFile) -> Array | float:
    """How far the saddles of a fanned board stand off the square line, (S) [m]; 0 of a straight one."""
    if i.fan is None:
        return 0.0
    return fan_at_bridge(i.fan.bass - i.fan.treble, i.fan.square, _spread(i, "bridge", "string_spread", i.strings))


def _anchors(i: InstrumentFile) -> Array:
    """String ends aft of the pivot; on a fixed bridge of a fanned board the pattern's follow their saddles."""
    aft = _many(i, "bridge", "anchor_aft", i.strings)
    return aft if i.bridge.knife_edge or ("bridge", "anchor_aft") in i.given else aft + _fanned(i)


def _bridge(i: InstrumentFile) -> Bridge:
    pivot_x, saddle_aft = _pivot_and_saddles(i)
    away = np.array([-1.0, 1.0])  # rooms are written as two distances
    below = np.array([1.0, -1.0])  # points are written aft and below
    return Bridge(
        knife_edge=i.bridge.knife_edge,
        clamped=i.bridge.clamped,
        pivot_x=pivot_x,
        pivot_y=_many(i, "bridge", "pivot_height", 2),
        pivot_z=_spread(i, "bridge", "pivot_spread", 2),
        pivot_lead=_one(i, "bridge", "pivot_lead"),
        pivot_range=_many(i, "bridge", "pivot_room", 2),
        saddle_aft=saddle_aft,
        saddle_up=_many(i, "bridge", "saddle_height", i.strings),
        saddle_z=_spread(i, "bridge", "string_spread", i.strings),
        height_lead=_one(i, "bridge", "height_lead"),
        height_range=away * _many(i, "bridge", "height_room", 2) + 0.0,
        length_lead=_one(i, "bridge", "length_lead"),
        length_range=away * _many(i, "bridge", "length_room", 2) + 0.0,
        anchor_aft=_anchors(i),
        anchor_up=_many(i, "bridge", "anchor_depth", i.strings),
        rear_aft=_one(i, "bridge", "rear_reach"),
        rear_up=_one(i, "bridge", "rear_depth"),
        rear_z=_spread(i, "bridge", "rear_width", 2),
        front_aft=_one(i, "bridge", "front_reach"),
        front_up=_one(i, "bridge", "front_depth"),
        deck_y=_one(i, "bridge", "recess"),
        block_aft_point=below * _many(i, "bridge", "block_rear", 2),
        cavity_aft=_one(i, "bridge", "cavity_rear"),
        block_fore_point=below * _many(i, "bridge", "block_front", 2),
        cavity_fore=_one(i, "bridge", "cavity_front"),
        mass=_one(i, "bridge", "mass"),
        centre_aft=_one(i, "bridge", "centre_aft"),
        centre_up=_one(i, "bridge", "centre_depth"),
        knife_friction=_one(i, "bridge", "knife_friction"),
    )


def _springs(i: InstrumentFile) -> Springs:
    places = int(i.entry("springs", "places")[0].value)
    names = {"rate": "rate", "initial": "initial_pull", "free": "free_length", "closed_rate": "closed_rate",
             "hook_aft": "hook_aft", "hook_up": "hook_depth"}  # fmt: skip
    return Springs(
        **{trait: _many(i, "springs", key, places) for trait, key in names.items()},
        hook_z=_spread(i, "springs", "hook_spread", places),
        claw_z=_spread(i, "springs", "claw_spread", places),
        patterns=dict(i.entry("springs", "patterns")[0].value),
    )


def _claw(i: InstrumentFile) -> Claw:
    return Claw(
        wall_x=array(_pivot_and_saddles(i)[0] + _one(i, "claw", "wall")),
        y=_one(i, "claw", "depth"),
        angle=_one(i, "claw", "angle"),
        lead=_one(i, "claw", "lead"),
        travel=_many(i, "claw", "travel", 2),
        screw_z=_spread(i, "claw", "screw_spread", 2),
    )


def _thermal(i: InstrumentFile) -> Thermal:
    names = ("reference", "string_expansion", "body_expansion", "modulus_fall")
    return Thermal(**{name: _one(i, "thermal", name) for name in names})


def _playing(i: InstrumentFile) -> Playing:
    names = ("finger_place", "finger_depth", "pluck_place", "pluck_force")
    return Playing(**{name: _one(i, "playing", name) for name in names})


def _with_saddle_heights(i: InstrumentFile, traits: Traits) -> Traits:
    """Saddle heights that give the pattern's usual string height at fret 12: plate level, usual relief, no shim.

    The height at a fret grows in a straight line with the saddle's height, so that two trials are exact.
    """
    if ("bridge", "saddle_height") in i.given:
        return traits
    wanted = _many(i, "bridge", "usual_height", i.strings)
    still, level, bow = untouched(traits), array(0.0), array(USUAL_BOW)

    def heights(up: float) -> Array:
        tried = replace(traits, bridge=replace(traits.bridge, saddle_up=np.full(i.strings, up)))
        return string_heights(tried, still, level, bow, (12,))[..., 0].reshape(i.strings)

    low, high = heights(0.0), heights(0.01)
    up = 0.01 * (wanted - low) / (high - low)
    return replace(traits, bridge=replace(traits.bridge, saddle_up=up))


def _stated(i: InstrumentFile) -> list[Stated]:
    """Where every trait comes from."""
    out = []
    for table in LAYOUT.tables:
        for item in table.fields:
            typed = (table.name, item.key) in i.given
            if not item.trait or not (typed or _fills(i, table.name, item.key)):
                continue
            entry, _ = i.entry(table.name, item.key)
            values: tuple[Amount, ...] = entry.value
            text = ", ".join(dict.fromkeys(v.written.text for v in values))
            source = i.place(table.name, item.key) if typed else f"catalogue: {entry.source}"
            label = item.doc.rstrip(".")
            band = max(v.band for v in values)
            out.append(Stated(table.name, item.key, item.trait, label, text, band, typed, source))
    return out


def _fills(i: InstrumentFile, table: str, key: str) -> bool:
    """Whether the catalogue has something for a field, and nothing typed has made it idle."""
    if (table, key) in (("bridge", "saddle_aft"), ("bridge", "pivot_place")):
        return False
    typed_aft, typed_pivot = (("bridge", k) in i.given for k in ("saddle_aft", "pivot_place"))
    return not (table == "bridge" and key == "reach" and (typed_aft or typed_pivot))


LABELS = {
    "springs.rate": "spring rate",
    "springs.initial": "initial pull of the springs",
    "springs.free": "free length of the springs",
    "springs.hook_aft": "spring hooks, aft of the pivot",
    "springs.hook_up": "spring hooks, depth",
    "nut.behind": "string behind the nut",
    "neck.bending": "stiffness of the neck",
    "neck.string_line": "strings over the neck's bending line",
    "bridge.pivot_y": "height of the pivots",
    "bridge.saddle_up": "height of the saddles",
    "bridge.rear_aft": "reach of the rear edge",
    "bridge.mass": "mass of the bridge",
    "bridge.centre_aft": "centre of mass, aft",
    "bridge.centre_up": "centre of mass, depth",
    "claw.wall_x": "place of the claw's wall",
}


def _parts(i: InstrumentFile, traits: Traits) -> tuple[Uncertain, ...]:
    """What is uncertain besides the strings: the traits that matter, and every other that was typed with a ±."""
    parts: dict[str, Uncertain] = {}
    for table in LAYOUT.tables:
        for item in table.fields:
            typed = (table.name, item.key) in i.given
            own = typed and isinstance(i.given[table.name, item.key], tuple) and any(
                v.stated for v in i.given[table.name, item.key]
            )  # fmt: skip
            if item.trait and item.form not in ("span", "point", "ends") and (item.learn or own) and _matters(i, item):
                entry, _ = i.entry(table.name, item.key)
                source = f"typed: {i.place(table.name, item.key)}" if typed else f"catalogue: {entry.source}"
                for part in _part(item, entry.value, source, traits):
                    parts.setdefault(part.name, part)
    return tuple(part for part in parts.values() if part.sd > 0.0)


def _matters(i: InstrumentFile, item: Field) -> bool:
    """Whether a trait can show in any reading of this kind of bridge."""
    if item.trait == "nut.behind":
        return not i.entry("nut", "locked")[0].value
    fixed_too = item.trait.split(".")[0] in _FIXED_ONLY or item.trait in ("bridge.saddle_up", "bridge.saddle_aft")
    return i.bridge.knife_edge or fixed_too


def _part(item: Field, values: tuple[Amount, ...], source: str, traits: Traits) -> list[Uncertain]:
    """The uncertain trait, or one per element."""
    group, name = item.trait.split(".")
    size = np.asarray(getattr(getattr(traits, group), name)).size
    factor = item.learn.startswith("factor") or item.form == "spread"
    kind: Literal["factor", "offset"] = "factor" if factor else "offset"
    label = LABELS.get(item.trait, item.doc.rstrip("."))
    unit = _SI_UNITS[item.kind]
    sds = [v.band / abs(v.si) if factor and v.si else 0.0 if factor else v.band for v in values]
    if not item.learn.endswith("each"):
        sd = float(np.mean(sds))
        return [Uncertain(item.trait, label, item.trait, None, kind, sd, unit, source)]
    share = (
        np.interp(np.linspace(0, 1, size), np.linspace(0, 1, len(sds)), sds) if len(sds) > 1 else np.full(size, sds[0])
    )
    return [
        Uncertain(f"{item.trait}[{n}]", f"{label}, string {n + 1}", item.trait, n, kind, float(share[n]), unit, source)
        for n in range(size)
    ]
