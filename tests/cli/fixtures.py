"""A plan made by hand: every kind of amount, effect and reading once, with numbers that are easy to find again."""

from __future__ import annotations

import math

import numpy as np

from setwright.cli.card import Head
from setwright.instrument.settings import Settings
from setwright.planning.plan import (
    Amount,
    Effect,
    End,
    Expected,
    Figures,
    Narrow,
    Option,
    Plan,
    Rejected,
    Step,
    TargetLine,
    Way,
)

HEAD = Head("Redshank: by hand", "Redshank, two-post knife edge", "Wants to find every number again.")
AT_PITCH = "at pitch, plate as it shall stand"

STEPS = (
    Step("read as found", "Read the instrument as found", minutes=5.0, cautions=("Stop and refer: cracks",)),
    Step(
        "shim", "Lay the shim in the pocket",
        (Amount("strip shim at the heel end", 0.000508, "thou", "lay in"),),
        (
            Effect("line of the neck at the bridge", "", 0.0, 0.0019, "length", None, "rises"),
            Effect("neck angle", "", 0.0, 0.0073, "angle", None, "headstock back"),
            Effect("string height", "string 1 at fret 12", 0.0025, 0.0016, "height", 0.00004, AT_PITCH),
            Effect("string height", "string 6 at fret 12", 0.0029, 0.0020, "height", 0.00004, AT_PITCH),
        ),
        cautions=("A shim must lie flat.", "Keep the screws apart."), minutes=4.0, why="saddles stand at their bottom",
    ),
    Step("hang springs", "Hook 3 springs", (Amount("places 1, 3, 5", 3.0, "count"),), minutes=3.0),
    Step(
        "pivots", "Turn both pivot screws", (Amount("both pivot screws", 0.25, "turns", "up"),),
        (Effect("saddle room", "", None, None, "length", None, "less"),), minutes=4.0,
    ),
    Step(
        "claw", "Turn both claw screws until the wedge falls free and the plate carries itself at its own pitch",
        (Amount("both claw screws", 0.625, "turns", "out", 0.3, 0.61, 0.61),),
        (
            Effect("rear gap", "", 0.0026, 0.0021, "length", None, "an eighth of a turn in, before retuning"),
            Effect("pitch", "least of the strings", 0.0, 4.4, "cents", None, "an eighth of a turn in, before retuning"),
            Effect("tilt", "", None, -0.0031, "angle"),
        ),
        (
            Expected("claw distance", "treble screw", 0.0137, "length", None, None, "hook line to cavity wall"),
            Expected("claw distance", "bass screw", 0.0139, "length", None, None, "hook line to cavity wall"),
        ),
        cautions=("Keep a hand on the bar.",), stop_when="string 3 is back at its own pitch", minutes=2.0,
    ),
    Step("wedge in", "Put the wedge under the rear edge", (Amount("rear gap", 0.0026, "length", "to"),), minutes=0.5),
    Step(
        "tune", "Set each string once",
        (
            Amount("string 6", 82.4069, "hertz", "to", None, 0.0),
            Amount("string 1", 331.54, "hertz", "to", None, 10.0),
            Amount("string 2", 261.6256, "hertz", "to", None, 100.0),
        ),
        (), (Expected("pitch", "string 6", 82.4069, "hertz", None, 2.0, "as it is set"),), minutes=3.0,
    ),
    Step(
        "read again", "Read gap, pitches and string heights", (), (),
        (
            Expected("rear gap", "", 0.0026, "length", 0.00028, 0.00025, "at pitch, playing"),
            Expected("string height", "string 1 at fret 12", 0.0016, "height", 0.00004, 0.00025, "at pitch, playing"),
            Expected("pitch", "string 1", 0.0, "cents", 0.4, 2.0, "against 329.63 Hz"),
            Expected("pitch", "string 2", 0.0, "cents", 1.3, 2.0, "against 246.94 Hz"),
        ),
        minutes=3.0,
    ),
)  # fmt: skip

TARGETS = (
    TargetLine("rear gap", "", "length", 0.0026, 0.00025, None, 0.00261, 0.0002, True, 0.97),
    TargetLine("string height", "string 1 at fret 12", "height", 0.0016, 0.00025, None, 0.0020, 0.00004, False, 0.004),
    TargetLine("radius at the saddles", "", "length", 0.3048, 0.0254, None, 0.31, 0.006, True, 0.9),
    TargetLine("string height", "string 2 at fret 12", "height", None, None, None, 0.0017, 0.00004, True, 1.0),
    TargetLine("bend that lifts the plate", "any string, at least", "cents", 200.0, 0.0, None, 450.0, 130.0, True, 1.0),
    TargetLine("pitch", "string 1", "cents", 0.0, 2.0, None, 0.0, 0.4, True, 0.99),
    TargetLine("pitch", "string 2", "cents", 0.0, 2.0, None, 0.0, 1.3, True, 0.71),
)
WAYS = (
    Way("wedge at the wanted gap", 8.4, 1.2, 16.3, 0.55, 0.973, 46.0, True, "", ((6, 82.4), (1, 331.5), (2, 261.6))),
    Way("no wedge", 18.0, 2.0, 257.4, 0.7, 0.31, 60.0, False, "a string would stand 257 c above", ((1, 400.0),)),
    Way("half a wedge", 12.0, 2.0, 0.0, 0.6, 0.31, 60.0, True, "", ((1, 400.0),)),
)
FIGURES = Figures(
    stiffness=(24.0, 3.1), stiffness_retuned=(7.7, 2.2), up=((130.0, 8.0), (230.0, 9.0), (41.0, 2.0)),
    down=((-1270.0, 40.0), (-math.inf, 0.0), (math.nan, 0.0)), up_stop="rear edge on the body",
    down_stop="block at the rear cavity wall", dip=(-13.0, -26.0, 0.0), broken=(0.0, 83.0, -9000.0),
    drift=(-0.72, -0.9, -1.1), friction=(0.3, 0.6, 1.0), attitude=(("on its back", 3.0), ("upright", -4.5)),
    preload=0.31, lifts_at=(210.0, math.inf, 640.0), tensions=(72.0, 68.6, 174.2), margin=(0.53, 0.31, 0.2),
)  # fmt: skip
NARROW = (
    Narrow("spring rate", 0.57, "claw position", 0.15, "share", "catalogue: common practice, no source"),
    Narrow("place of the claw's wall", 0.2, "claw position", 0.0015, "m", "typed: redshank"),
    Narrow("unit mass of new string 1 (.012)", 0.1, "claw position", 0.002, "share", "catalogue: published"),
    Narrow("never shown", 0.01, "claw position", 0.002, "share", "catalogue"),
)
_NONE, _ZERO = np.array(np.nan), np.array(0.0)
END = End(
    Settings(
        np.array([0.7, 0.7, 0.7]), np.array([0.0137, 0.0139]), np.ones(3), np.zeros(2), np.zeros(3), np.zeros(3),
        np.array(0.000508), _ZERO, _ZERO, _ZERO, np.zeros(3), _NONE, _NONE,
    ),
    -0.0031, 0.004, (329.63, 246.94, 196.0),
)  # fmt: skip
BEST = Option(
    "strip shim {0.000508}, 3 springs, pivots moved", STEPS, TARGETS, WAYS, FIGURES, 0.36, 0.996, 46.0, NARROW, END
)
SECOND = Option(
    "pocket as found, 4 springs, pivots moved", STEPS[:1], TARGETS[:1], WAYS[1:2], None, 0.3, 0.8, 61.0, (), END
)
REJECTED = (
    Rejected("pocket as found, 2 springs", "claw at its end, {0.000780} short", 0.8),
    Rejected("strip shim {0.000254}, 2 springs", "claw at its end, {0.001500} short", 1.5),
    Rejected("3 springs", "saddle of string 2 at its bottom", 2.0),
    Rejected("5 springs", "springs hang closed", 3.0),
    Rejected("4 springs", "a fourth kind of reason", 4.0),
)
FOUND = (
    Effect("rear gap", "", None, 0.0, "length"),
    Effect("preload", "", None, 1.03, "moment"),
    Effect("tilt", "", None, None, "angle"),
    Effect("string height", "string 1 at fret 12", None, 0.0019, "height"),
    Effect("string height", "string 2 at fret 12", None, 0.0020, "height"),
)
PLAN = Plan("Redshank: by hand", "Redshank", BEST, SECOND, REJECTED, 96, ("one thing is left out {0.002000}",), FOUND)
