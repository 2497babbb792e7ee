"""What a technician would believe about an instrument: the first line of the line protocol, drawn by seed.

Bridges, necks, springs and strings are patterns of the catalogue, each value drawn near the middle of its pattern. The
tables of minutes and limits, and the gauges, are common practice, no source. z runs to the treble side here.
"""

from __future__ import annotations

from math import sqrt
from random import Random
from typing import Any

from setwright.instrument.catalogue import Pattern, bridge, neck, spring, string_set

SETS = {
    "09": (".009", ".011", ".016", ".024w", ".032w", ".042w"),
    "09 to 46": (".009", ".011", ".016", ".026w", ".036w", ".046w"),
    "10": (".010", ".013", ".017", ".026w", ".036w", ".046w"),
    "10 to 52": (".010", ".013", ".017", ".030w", ".042w", ".052w"),
    "11": (".011", ".014", ".018", ".028w", ".038w", ".049w"),
}
LOWERED = {"09": (0,), "09 to 46": (0, -1), "10": (0, -1), "10 to 52": (0, -1), "11": (0, -1, -2)}  # semitones
NOTES = (-5, -10, -14, -19, -24, -29)  # semitones from A4: E4 B3 G3 D3 A2 E2
A4 = 440.0  # Hz, ISO 16
BRIDGES = ("two-post knife edge", "six-screw knife edge", "double-locking knife edge")
NECKS = ("bolt-on maple", "bolt-on maple, stiffened")
SPRINGS = ("usual", "usual", "strong")
SCALES = (0.6477, 0.6350, 0.6286)
BOARDS = ((0.241, 0.305), (0.305, 0.305), (0.305, 0.406))  # m, radius at the nut and at the last fret
CROWN = 0.0011  # m
WIDTH = 0.5  # of a pattern's band: what is told lies within it
LEAST_GAP, MOST_GAP = 1.6e-3, 3.2e-3
GAUGES = {
    "pitch_sd": 0.3, "pitch_res": 0.1, "gap_sd": 5e-5, "gap_res": 5e-5, "claw_sd": 1e-4, "claw_res": 1e-4,
    "action_sd": 3e-5, "action_res": 5e-5, "relief_sd": 2e-5, "relief_res": 2.54e-5, "tuner_stop": 0.5,
}  # fmt: skip
LIMITS = {"tune": 300, "claw": 60, "read": 1500}
MINUTES = {
    "tune": 0.5, "claw": 1.0, "pitch": 0.1, "gap": 0.2, "claw_distance": 0.2, "wedge": 0.5, "wedge_loose": 0.1,
    "bar": 0.1, "springs": 4.0, "attitude": 0.1,
}  # fmt: skip


class _Drawn:
    """Values of one pattern, each near its middle."""

    def __init__(self, pattern: Pattern, rng: Random) -> None:
        self.pattern, self.rng = pattern, rng

    def some(self, table: str, name: str) -> list[float]:
        """Every number of a field, all moved alike."""
        amounts, way = self.pattern.entries[table, name].value, self.rng.uniform(-WIDTH, WIDTH)
        return [float(one.si + way * one.band * one.stated) for one in amounts]

    def one(self, table: str, name: str) -> float:
        """The number of a field."""
        return self.some(table, name)[0]

    def plain(self, table: str, name: str) -> Any:
        """A field that is no number with a band."""
        return self.pattern.entries[table, name].value


def hello(seed: int) -> dict[str, Any]:
    """First line of the line protocol for an instrument of our own.

    Args:
        seed: all of chance.
    Returns: the line as data, SI units.
    """
    rng = Random(f"{seed} told")
    plate = _Drawn(bridge(rng.choice(BRIDGES)), rng)
    stem, coil = _Drawn(neck(rng.choice(NECKS)), rng), _Drawn(spring(rng.choice(SPRINGS)), rng)
    scale, wanted = rng.choice(SCALES), rng.choice(tuple(SETS))
    lower = rng.choice(LOWERED[wanted])
    found = _found(wanted, rng)
    hz = [A4 * 2.0 ** ((note + lower) / 12.0) for note in NOTES]
    told = _told(plate, stem, coil, scale, wanted, hz)
    level = told["bridge"]["pivot_y"][0] + told["bridge"]["rear"][1]
    least = max(LEAST_GAP, level - 1.2e-3)
    gap = round(rng.uniform(least, min(MOST_GAP, max(level + 0.8e-3, least + 0.4e-3))), 4)
    return {
        "hello": "instrument",
        "protocol": 1,
        "strings": len(hz),
        "told": told,
        "goal": {
            "rear_gap": gap, "gap_tolerance": 2.5e-4, "cents_tolerance": 2.0, "hz": hz, "attitude": "playing",
        },
        "job": {"found": found, "wanted": wanted},
        "limits": dict(LIMITS),
        "minutes": dict(MINUTES),
    }  # fmt: skip


def _found(wanted: str, rng: Random) -> str:
    """The set that was on: half the time the same one, which is then still on, at pitch."""
    others = [name for name in SETS if name != wanted]
    return wanted if rng.random() < 0.5 else rng.choice(others)


def _told(plate: _Drawn, stem: _Drawn, coil: _Drawn, scale: float, gauges: str, hz: list[float]) -> dict[str, Any]:
    count = len(hz)
    strings = string_set(SETS[gauges])
    radius_nut, radius_end = plate.rng.choice(BOARDS)
    at_nut = _even(0.5 * plate.one("nut", "string_spread"), count)
    slot = plate.some("nut", "slot")
    slot = slot if len(slot) == count else slot * count
    nut = {"locked": bool(plate.plain("nut", "locked")), "slot": slot, "z": at_nut}
    board = {"y": stem.one("neck", "board_height"), "radius_nut": radius_nut, "radius_end": radius_end, "crown": CROWN}
    return {
        "scale": scale,
        "frets": 22,
        "strings": {
            "f": hz,
            "back": plate.some("nut", "behind"),
            "capstan": [0.0] * count,
            "dia": strings.diameter.tolist(),
            "mu0": strings.unit_mass.tolist(),
            "EA": strings.axial.tolist(),
            "EI": strings.bending.tolist(),
        },
        "nut": nut,
        "fretboard": board,
        "neck": {
            "angle": 0.0,
            "x_mouth": scale * stem.one("neck", "mouth"),
            "y_mouth": -stem.one("neck", "mouth_depth"),
            "lever_shim": stem.one("neck", "shim_place"),
            "pocket": stem.one("neck", "pocket"),
            "x_joint": scale * stem.one("neck", "joint"),
            "kappa0": stem.one("neck", "forward_bow"),
            "h": stem.one("neck", "string_line"),
            "EI": stem.one("neck", "stiffness"),
            "rod_moment": stem.one("neck", "rod_moment"),
            "rod_per_turn": stem.one("neck", "rod_per_turn"),
        },
        "bridge": (on_plate := _bridge(plate, scale, board, nut)),
        "springs": _springs(plate, coil),
        "claw": _claw(plate, on_plate["pivot_x"]),
        "friction": {"knife": 0.0},
        "thermal": {
            "T_ref": plate.one("thermal", "reference"),
            "alpha_string": plate.one("thermal", "string_expansion"),
            "alpha_body": plate.one("thermal", "body_expansion"),
            "beta_E": plate.one("thermal", "modulus_fall"),
        },
        "finger": {"press": 0.5, "depth": plate.one("playing", "finger_depth")},
        "tuner": {"take_up": round(plate.rng.uniform(1.2e-3, 1.7e-3), 5)},
        "gauges": dict(GAUGES),
    }


def _even(half: float, count: int) -> list[float]:
    """Places from treble to bass, evenly."""
    return [half * (1.0 - 2.0 * i / (count - 1)) for i in range(count)]


def _bridge(plate: _Drawn, scale: float, board: dict[str, float], nut: dict[str, Any]) -> dict[str, Any]:
    count, reach = len(nut["z"]), plate.one("bridge", "reach")
    compensation = plate.some("bridge", "compensation")
    pivot_y, half = plate.one("bridge", "pivot_height"), 0.5 * plate.one("bridge", "pivot_spread")
    saddle_z = _even(0.5 * plate.one("bridge", "string_spread"), count)
    low, high = plate.some("bridge", "usual_height")
    saddle = []
    for i, (z_nut, z) in enumerate(zip(nut["z"], saddle_z, strict=True)):
        at_nut = board["y"] - _sag(board["radius_nut"], z_nut) + nut["slot"][i]
        middle = 0.5 * (board["radius_nut"] + board["radius_end"])
        over = low + (high - low) * i / (count - 1)
        at_twelfth = board["y"] - _sag(middle, 0.5 * (z_nut + z)) + board["crown"] + over
        up = at_nut + 2.0 * (at_twelfth - at_nut) - pivot_y
        saddle.append([reach + compensation[i], up])
    end = [plate.one("bridge", "anchor_aft"), -plate.one("bridge", "anchor_depth")]
    rear_half = 0.5 * plate.one("bridge", "rear_width")
    height, length = plate.some("bridge", "height_room"), plate.some("bridge", "length_room")
    aft, fore = plate.some("bridge", "block_rear"), plate.some("bridge", "block_front")
    return {
        "pivot_x": scale - reach,
        "pivot_y": [pivot_y, pivot_y],
        "pivot_z": [-half, half],
        "pivot_lead": plate.one("bridge", "pivot_lead"),
        "saddle": saddle,
        "saddle_z": saddle_z,
        "height_lead": plate.one("bridge", "height_lead"),
        "height_range": [-height[0], height[1]],
        "length_lead": plate.one("bridge", "length_lead"),
        "length_range": [-length[0], length[1]],
        "anchor": [list(end) for _ in range(count)],
        "clamped": plate.pattern.clamped,
        "rear": [plate.one("bridge", "rear_reach"), -plate.one("bridge", "rear_depth")],
        "rear_z": [-rear_half, rear_half],
        "deck_y": 0.0,
        "block_aft": [aft[0], -aft[1]],
        "cavity_aft": plate.one("bridge", "cavity_rear"),
        "block_fore": [fore[0], -fore[1]],
        "cavity_fore": -plate.one("bridge", "cavity_front"),
        "mass": plate.one("bridge", "mass"),
        "cg": [plate.one("bridge", "centre_aft"), -plate.one("bridge", "centre_depth")],
    }


def _sag(radius: float, z: float) -> float:
    """How far a cylinder's surface lies under its crest."""
    return radius - sqrt(radius * radius - z * z)


def _springs(plate: _Drawn, coil: _Drawn) -> dict[str, Any]:
    places = int(plate.plain("springs", "places"))
    hook = [plate.one("springs", "hook_aft"), -plate.one("springs", "hook_depth")]
    return {
        "k": coil.one("springs", "rate"),
        "F0": coil.one("springs", "initial_pull"),
        "lfree": coil.one("springs", "free_length"),
        "k_closed": coil.one("springs", "closed_rate"),
        "hooks": [[*hook, z] for z in _even(-0.5 * plate.one("springs", "hook_spread"), places)],
        "claw_z": _even(-0.5 * plate.one("springs", "claw_spread"), places),
        "patterns": {str(n): list(used) for n, used in plate.plain("springs", "patterns").items()},
    }


def _claw(plate: _Drawn, pivot_x: float) -> dict[str, Any]:
    near, far = plate.some("claw", "travel")
    half = 0.5 * plate.one("claw", "screw_spread")
    return {
        "x_wall": pivot_x - plate.one("claw", "wall"),
        "y": -plate.one("claw", "depth"),
        "angle": 0.0,
        "lead": plate.one("claw", "lead"),
        "d_ref": 0.5 * (near + far),
        "d_range": [near, far],
        "screw_z": [-half, half],
    }
