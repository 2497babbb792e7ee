"""Sets of strings: from gauges as the trade writes them to mass, stiffness and strength, with how far to trust each."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import cache

import numpy as np

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.instrument.fields import Field, length
from setwright.instrument.packaged import load
from setwright.instrument.prior import Uncertain
from setwright.instrument.quantities import Amount, amount
from setwright.instrument.traits import Array, Strings, array
from setwright.physics.construction import (
    breaking_load,
    core_axial,
    core_bending,
    plain_axial,
    plain_bending,
    plain_unit_mass,
    wound_unit_mass,
)
from setwright.physics.materials import WRAPS
from setwright.units.written import Written, at, clean

THINNEST, THICKEST = 0.00012, 0.0045  # m
PLAIN_UP_TO = 0.00080  # m; plain strings thicker than this are not made for playing
WOUND_FROM = 0.00040  # m

STRING_FIELDS = (
    Field("gauge", "text", "Gauge, with w when wound: .010, .026w, 0.66 mm w.", required=True),
    Field("wrap", "choice", "Metal of the wrap.", choices=tuple(WRAPS), default="nickel-plated steel"),
    length("core", "Core of a wound string, hexagonal, across the flats.", 0.1, 3, default="from the catalogue"),
    Field("unit_mass", "unit mass", "Mass per metre of the unstretched string, as weighed.", low=5e-5, high=0.2,
          default="worked out from the gauge"),
    Field("axial", "force", "Axial stiffness EA.", low=500.0, high=1e6, default="worked out from the core"),
    Field("bending", "rigidity", "Bending stiffness EI.", low=0.0, high=0.1, default="worked out from the core"),
    Field("breaking", "force", "Breaking load.", low=10.0, high=1e4, default="ASTM A228, least strength of the core"),
)  # fmt: skip
_BARE = re.compile(r"0?\.\d{3,4}$")
_WOUND = re.compile(r"(?P<size>.*?)\s*(?P<mark>[wW]|wound|[pP]|plain)$")


@frozen
class Gauge:
    """One string as it is bought: diameter [m], wound or plain, and what was measured of it."""

    text: str
    diameter: float
    wound: bool
    wrap: str
    written: Written
    measured: Mapping[str, Amount] = field(default_factory=dict)  # core, unit_mass, axial, bending, breaking


@frozen
class _Worked:
    """Of one string: value and standard uncertainty as a share, and whether it was typed."""

    value: float
    share: float
    typed: bool


def gauge(text: str, where: str = "", wrap: str = "", measured: Mapping[str, Amount] | None = None) -> Gauge:
    """Read a gauge.

    Args:
        text: .010, .026w, '.010"', 0.66 mm w; three or four bare decimals are inches (common practice, no source).
        where: put in front of messages.
        wrap: metal of the wrap, "" for the catalogue's.
        measured: by name of STRING_FIELDS, what was measured.
    Returns: the string.
    Raises: InputError for what is no gauge or is not made.
    """
    plain = clean(text, where)
    found = _WOUND.match(plain)
    size, mark = (found["size"], found["mark"][0].lower()) if found and found["size"] else (plain, "p")
    read = amount(f"{size} in" if _BARE.match(size) else size, "length", where)
    wound = mark == "w"
    low, high = (WOUND_FROM, THICKEST) if wound else (THINNEST, PLAIN_UP_TO)
    if not low <= read.si <= high:
        kind, limits = ("wound", ".016 to .177 in") if wound else ("plain", ".005 to .031 in; put w behind a wound one")
        raise FileFormatError(at(where, f"{text!r} is no gauge of a {kind} string; these run from {limits}."))
    core = (measured or {}).get("core")
    if core is not None and not (wound and core.si * 1.16 < read.si):
        raise InputError(
            at(where, f"{text!r} cannot have a core of {core.written.text!r}; only a wound one has a core.")
        )
    metal = wrap or str(load("strings.toml").data["wound"]["wrap"])
    return Gauge(text.strip(), read.si, wound, metal, read.written, dict(measured or {}))


@cache
def _curve(table: str, column: str, kind: str) -> tuple[Array, Array]:
    """Sizes and values of a table of strings.toml."""
    data = load("strings.toml").data[table]
    sizes = [amount(t, "length", f"strings.toml {table}").si for t in data["gauge"]]
    return np.array(sizes), np.array([amount(t, kind, f"strings.toml {table}").si for t in data[column]])


def core_across(diameter: float) -> float:
    """Usual core of a wound string, across the flats of the hexagon.

    Args:
        diameter: over the wrap [m].
    Returns: [m].
    """
    return float(np.interp(diameter, *_curve("core", "across", "length")))


def packing(diameter: float) -> float:
    """Usual share of the ring around the core that is metal.

    Args:
        diameter: over the wrap [m].
    Returns: [1].
    """
    return float(np.interp(diameter, *_curve("packing", "share", "ratio")))


@cache
def trust(wound: bool, what: str) -> tuple[float, str]:
    """How far the catalogue is to be trusted about a string.

    Args:
        wound: wound or plain [1].
        what: "unit_mass" or "axial".
    Returns: standard uncertainty as a share [1], and where that comes from.
    """
    entry = load("strings.toml").data["wound" if wound else "plain"][what]
    return amount(entry["value"], "ratio").si, str(entry["source"])


def _worked(one: Gauge) -> dict[str, _Worked]:
    """Everything about one string, typed values before worked-out ones."""
    d = one.diameter
    core = one.measured["core"].si if "core" in one.measured else core_across(d) if one.wound else d
    if one.wound:
        density = WRAPS[one.wrap].density
        out = {
            "unit_mass": float(wound_unit_mass(core, d, density, "hex", packing(d))),
            "axial": float(core_axial(core, "hex")),
            "bending": float(core_bending(core, "hex")),
            "breaking": float(breaking_load(core, "hex")),
        }
    else:
        out = {
            "unit_mass": float(plain_unit_mass(d)),
            "axial": float(plain_axial(d)),
            "bending": float(plain_bending(d)),
            "breaking": float(breaking_load(d)),
        }
    shares = {name: trust(one.wound, name)[0] if name in ("unit_mass", "axial") else 0.0 for name in out}
    worked = {name: _Worked(value, shares[name], False) for name, value in out.items()}
    for name in out:
        if name in one.measured:
            typed = one.measured[name]
            worked[name] = _Worked(typed.si, typed.band / typed.si if typed.si else 0.0, True)
    return worked


def strings_from(gauges: Sequence[Gauge]) -> Strings:
    """A set of strings as traits.

    Args:
        gauges: (S), from the thinnest.
    Returns: the set.
    """
    each = [_worked(one) for one in gauges]
    columns = {name: array([one[name].value for one in each]) for name in ("unit_mass", "axial", "bending", "breaking")}
    return Strings(diameter=array([one.diameter for one in gauges]), **columns)


def string_parts(gauges: Sequence[Gauge]) -> tuple[Uncertain, ...]:
    """What is uncertain about a set: stiffness and unit mass of every string, each by a factor.

    Args:
        gauges: (S), from the thinnest.
    Returns: the uncertain traits, named strings.axial[i] and strings.unit_mass[i].
    """
    parts = []
    labels = {"axial": ("stretch stiffness", "N"), "unit_mass": ("unit mass", "kg/m")}
    for name, (label, unit) in labels.items():
        for i, one in enumerate(gauges):
            got = _worked(one)[name]
            source = "typed" if got.typed else f"catalogue: {trust(one.wound, name)[1]}"
            what = f"{label} of string {i + 1} ({one.text})"
            parts.append(
                Uncertain(f"strings.{name}[{i}]", what, f"strings.{name}", i, "factor", got.share, unit, source)
            )
    return tuple(parts)
