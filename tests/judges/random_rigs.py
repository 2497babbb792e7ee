"""Random knife-edge instruments with wide scatter, by recipe, from a seeded generator.

The numbers scatter about a usual 25.5 in instrument (common practice, no source): claw, spring strength and pegs are
set so that the plate would rest near a wanted tilt, then each recipe spoils that in its own way. Setting the rig up
needs a rough balance only; what its true rest is, the judge says.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from setwright.physics.balance import Array, Rig

RECIPES = (
    "floating",
    "decked",
    "wedged",
    "blocked",
    "upper stop",
    "string off",
    "slack string",
    "slack spring",
    "closed spring",
    "soft springs",
    "heavy plate",
    "wild",
)
GUITAR = (329.63, 246.94, 196.00, 146.83, 110.00, 82.41, 61.74, 46.25)
BASS = (98.00, 73.42, 55.00, 41.20)
GUITAR_MASS = (0.000396, 0.000669, 0.001143, 0.002263, 0.004279, 0.006825, 0.0115, 0.0185)
BASS_MASS = (0.0042, 0.0078, 0.0128, 0.0219)
GUITAR_AXIAL = (10134.0, 17127.0, 29288.0, 19863.0, 24347.0, 31036.0, 40000.0, 55000.0)
BASS_AXIAL = (60000.0, 90000.0, 120000.0, 150000.0)
GRAVITY = 9.81
DOWN = ((0.0, 0.0), (0.0, -1.0), (1.0, 0.0), (0.0, 1.0))
PLACES = 5


@dataclass(frozen=True)
class Case:
    """One random rig (batch of one) and what was meant by it."""

    recipe: str
    rig: Rig
    hertz: Array  # (S,) about the pitches at the wanted tilt, Hz
    wanted: float  # rad, the tilt the recipe started from
    start: float  # rad, where the plate is let go


def random_case(rng: np.random.Generator, recipe: str, strings: int = 6) -> Case:
    """Make one rig after a recipe; strings: 4 (a bass), 6, 7 or 8."""
    v = _strings(rng, strings)
    v |= _springs(rng, recipe)
    wanted = float(rng.uniform(-0.04, 0.05))
    v["tilt_low"] = wanted - rng.uniform(0.03, 0.22)
    v["tilt_high"] = wanted + rng.uniform(0.05, 0.30)
    neck = rng.uniform(60.0, 900.0) if rng.random() < 0.8 else rng.uniform(5e3, 5e5)
    joint = rng.uniform(0.36, 0.44) * (1.35 if strings == 4 else 1.0)
    v["nut_x_per_bow"], v["nut_y_per_bow"] = rng.uniform(0.008, 0.016) * joint, 0.5 * joint**2
    v["bow_free"], v["bow_stiffness"] = rng.uniform(-0.02, 0.01), neck * joint
    way = DOWN[int(rng.integers(4))]
    mass = rng.uniform(1.0, 3.0) if recipe == "heavy plate" else rng.uniform(0.1, 0.5)
    v["weight_x"], v["weight_y"] = mass * GRAVITY * way[0], mass * GRAVITY * way[1]
    v["centre_aft"], v["centre_up"] = rng.uniform(0.0, 0.02), rng.uniform(-0.03, 0.0)
    length, lever = _path(v, wanted)
    hertz = v.pop("about")
    tension = v["unit_mass"] * (2.0 * length * hertz) ** 2
    tension = tension / (1.0 + tension / v["axial"])
    v["unstretched"] = (length + v["dead"]) / (1.0 + tension / v["axial"])
    strength = 1.0
    if recipe in ("decked", "wedged"):
        strength = rng.uniform(1.15, 2.0)
    elif recipe == "upper stop":
        strength = rng.uniform(0.0, 0.4)
        v["tilt_high"] = wanted + rng.uniform(0.005, 0.05)
    elif recipe == "wild":
        strength = float(np.exp(rng.normal(0.0, 0.6)))
    _balance(rng, v, recipe, wanted, float((tension * lever).sum()), strength)
    if recipe == "string off":
        v["unstretched"][rng.choice(strings, rng.integers(1, strings), replace=False)] = np.nan
    elif recipe == "slack string":
        which = rng.choice(strings, rng.integers(1, 3), replace=False)
        v["unstretched"][which] = (length + v["dead"])[which] * rng.uniform(1.002, 1.02)
    elif recipe == "wild":
        v["unstretched"] = v["unstretched"] * (1.0 + rng.normal(0.0, 1.5e-3, strings))
    elif recipe == "wedged":
        v["tilt_low"] = wanted
    elif recipe == "blocked":
        v["tilt_low"] = v["tilt_high"] = wanted + rng.uniform(-0.02, 0.02)
    start = wanted if rng.random() < 0.3 else float(rng.uniform(-0.1, 0.2)) if rng.random() < 0.5 else 0.0
    v["hertz"] = np.full(strings, np.nan)
    rig = Rig(**{f.name: np.asarray(v[f.name], dtype=np.float64)[None] for f in fields(Rig)})
    return Case(recipe, rig, np.asarray(hertz), wanted, start)


def _strings(rng: np.random.Generator, n: int) -> dict[str, Array]:
    bass = n == 4
    hertz, mass, axial = (
        np.array(row[:n]) for row in ((BASS, BASS_MASS, BASS_AXIAL) if bass else (GUITAR, GUITAR_MASS, GUITAR_AXIAL))
    )
    scale = rng.uniform(0.76, 0.90) if bass else rng.uniform(0.60, 0.70)
    gauge = rng.uniform(0.85, 1.2)
    aft = rng.uniform(0.010, 0.018) + rng.uniform(-1e-3, 2e-3, n)
    head = rng.permutation(np.linspace(0.03, 0.17, n)) if rng.random() < 0.5 else np.zeros(n)
    tail = rng.uniform(0.02, 0.05) if rng.random() < 0.7 else 0.0
    return {
        "about": hertz * 2.0 ** (rng.integers(-4, 1) / 12.0),
        "nut_x": np.full(n, -scale) + aft.mean() + rng.uniform(-5e-4, 5e-4, n),
        "nut_y": rng.uniform(0.002, 0.012) + rng.uniform(-1e-3, 1e-3, n),
        "saddle_aft": aft,
        "saddle_up": rng.uniform(0.006, 0.013) + rng.uniform(-1e-3, 1e-3, n),
        "aside": np.linspace(-0.009, 0.009, n),
        "dead": head + tail + rng.uniform(0.0, 0.01, n),
        "unit_mass": mass * gauge**2 * rng.uniform(0.95, 1.05, n),
        "axial": axial * gauge**2 * rng.uniform(0.8, 1.2, n),
        "bending": rng.uniform(3e-5, 4e-4, n) * (20.0 if bass else 1.0),
    }


def _springs(rng: np.random.Generator, recipe: str) -> dict[str, Array]:
    count = 2 if recipe == "soft springs" else int(rng.integers(2, PLACES + 1))
    present = np.zeros(PLACES)
    present[rng.choice(PLACES, count, replace=False)] = 1.0
    claw = rng.uniform(-0.075, -0.055) - rng.uniform(0.0, 0.02)
    return {
        "hook_aft": np.full(PLACES, rng.uniform(0.0, 0.010)),
        "hook_up": np.full(PLACES, rng.uniform(-0.045, -0.030)),
        "claw_x": claw + np.linspace(-1.0, 1.0, PLACES) * rng.uniform(-0.004, 0.004),
        "claw_y": np.full(PLACES, rng.uniform(-0.045, -0.030)),
        "slant": rng.uniform(0.0, 0.015) * np.linspace(-1.0, 1.0, PLACES) * (rng.random() < 0.5),
        "present": present,
        "rate": rng.uniform(2000.0, 6000.0) * rng.uniform(0.8, 1.25, PLACES),
        "initial": rng.uniform(5.0, 25.0, PLACES),
        "free": np.full(PLACES, 0.05),
        "closed_rate": np.full(PLACES, rng.uniform(5e4, 4e5)),
    }


def _path(v: dict[str, Array], tilt: float) -> tuple[Array, Array]:
    """Speaking length and its change per tilt, by central difference, for setting up only."""

    def length(t: float) -> Array:
        px = v["saddle_aft"] * np.cos(t) - v["saddle_up"] * np.sin(t)
        py = v["saddle_aft"] * np.sin(t) + v["saddle_up"] * np.cos(t)
        return np.asarray(np.sqrt((px - v["nut_x"]) ** 2 + (py - v["nut_y"]) ** 2 + v["aside"] ** 2))

    return length(tilt), (length(tilt + 1e-5) - length(tilt - 1e-5)) / 2e-5


def _balance(
    rng: np.random.Generator, v: dict[str, Array], recipe: str, tilt: float, strings: float, strength: float
) -> None:
    """Choose free lengths so that the springs about hold the strings at the wanted tilt, times `strength`."""

    def span(t: float) -> Array:
        qx = v["hook_aft"] * np.cos(t) - v["hook_up"] * np.sin(t)
        qy = v["hook_aft"] * np.sin(t) + v["hook_up"] * np.cos(t)
        return np.asarray(np.sqrt((v["claw_x"] - qx) ** 2 + (v["claw_y"] - qy) ** 2 + v["slant"] ** 2))

    here, arm = span(tilt), (span(tilt + 1e-5) - span(tilt - 1e-5)) / 2e-5
    used = np.flatnonzero(v["present"])
    idle = np.zeros(PLACES, dtype=bool)
    if recipe in ("slack spring", "closed spring"):
        idle[rng.choice(used, rng.integers(1, len(used)), replace=False)] = True
    pulling = (v["present"] > 0) & ~idle
    each = -strength * strings / arm[pulling].sum()  # N
    if recipe == "soft springs":  # long, weak, far stretched
        v["rate"] = v["rate"] * rng.uniform(0.15, 0.4)
        v["initial"] = np.minimum(v["initial"], 0.5 * each)
    stretch = (each - v["initial"]) / v["rate"]
    v["free"] = np.where(pulling, here - np.where(stretch > 0.0, stretch, 0.0), v["free"])
    short = pulling & (stretch <= 0.0)
    v["initial"] = np.where(short, max(each, 0.5), v["initial"])
    share = rng.uniform(0.1, 0.9, PLACES)
    if recipe == "closed spring":
        v["free"] = np.where(idle, here + (1.0 - share) * v["initial"] / v["closed_rate"], v["free"])
        if rng.random() < 0.5:  # the others leave it part of its own initial tension to carry
            lost = (idle * share * v["initial"] * arm).sum() / (pulling * arm).sum()
            v["free"] = np.where(pulling, v["free"] + lost / v["rate"], v["free"])
    elif recipe == "slack spring":
        v["free"] = np.where(idle, here + v["initial"] / v["closed_rate"] + rng.uniform(1e-4, 6e-3, PLACES), v["free"])


def many(seed: int, count: int, widths: tuple[int, ...] = (6, 6, 6, 4, 7, 8)) -> list[Case]:
    """Make `count` cases, recipes and string counts taking turns."""
    rng = np.random.default_rng(seed)
    kinds = len(RECIPES)
    return [random_case(rng, RECIPES[i % kinds], widths[(i // kinds) % len(widths)]) for i in range(count)]


def stack(rigs: list[Rig]) -> Rig:
    """Put rigs with equally many strings into one batch."""
    return Rig(**{f.name: np.concatenate([getattr(rig, f.name) for rig in rigs]) for f in fields(Rig)})
