"""The fields of an instrument file: every trait, in the units and signs a bench uses."""

from __future__ import annotations

from setwright.instrument.bridge_fields import BRIDGE
from setwright.instrument.fields import Field, Layout, Table, length

HANDS = ("right", "left")

INSTRUMENT = Table(
    "instrument",
    "What is read on the instrument itself.",
    (
        Field("name", "text", "What the shop calls it.", required=True),
        Field("strings", "count", "Number of strings.", low=3, high=12, default="that of the bridge pattern"),
        length(
            "scale",
            "Nominal scale length: nut to the 12th fret, doubled.",
            450,
            1000,
            usual=(560, 915),
            form="fan",
            required=True,
            trait="fretboard.scale",
        ),
        Field("frets", "count", "Number of frets.", low=12, high=36, default="22"),
        length(
            "radius",
            "Radius across the fretboard.",
            100,
            2000,
            usual=(150, 550),
            form="ends",
            default="12 in",
            trait="fretboard.radius_nut",
        ),
        length(
            "fret_height",
            "Height of the fret crowns over the board.",
            0.3,
            2.5,
            usual=(0.5, 1.7),
            default="1.1 mm",
            trait="fretboard.crown",
        ),
        Field(
            "handed",
            "choice",
            "Which way it is played; treble and bass stay what they are.",
            choices=HANDS,
            default="right",
        ),
        Field("notes", "text", "Anything worth keeping.", default="none"),
    ),
    required=True,
)

NUT = Table(
    "nut",
    "The nut.",
    (
        length(
            "slot",
            "Bottom of each slot over the fretboard, under its string.",
            0.2,
            5,
            usual=(0.5, 3),
            form="strings",
            trait="nut.slot",
        ),
        length(
            "string_spread",
            "Outer string to outer string at the nut.",
            15,
            100,
            usual=(25, 60),
            form="spread",
            trait="nut.z",
        ),
        length(
            "behind", "Free string from nut to tuner.", 0, 400, form="strings", learn="offset each", trait="nut.behind"
        ),
        Field(
            "friction",
            "number",
            "Friction coefficient times the angle the string turns at its slot.",
            low=0.0,
            high=3.0,
            form="strings",
            trait="nut.capstan",
        ),
        Field("locked", "flag", "true when the nut clamps the strings."),
    ),
)

NECK = Table(
    "neck",
    "The neck and its joint. Depths run down from the body top.",
    (
        Field("kind", "text", "Name of a neck pattern."),
        Field(
            "angle",
            "angle",
            "Built-in angle; plus when the headstock tips back.",
            low=-0.02,
            high=0.12,
            trait="neck.angle",
        ),
        length(
            "board_height",
            "Centre of the fretboard over the body top, on the line of the neck at the nut, no shim.",
            0,
            40,
            trait="fretboard.height",
        ),
        Field(
            "mouth",
            "place",
            "Nut to the mouth of the pocket, where a shimmed neck turns.",
            low=0.15,
            high=0.9,
            trait="neck.mouth_x",
        ),
        length("mouth_depth", "Pocket floor under the body top.", -20, 40, sign=-1.0, trait="neck.mouth_y"),
        length("pocket", "Length of the pocket.", 20, 150, usual=(40, 120), trait="neck.pocket"),
        length("shim_place", "Mouth to the middle of a strip shim at the heel end.", 10, 150, trait="neck.shim_lever"),
        Field("joint", "place", "Nut to where the neck stops bending.", low=0.15, high=0.9, trait="neck.joint_x"),
        Field(
            "forward_bow",
            "curvature",
            "Curvature without strings and with the rod slack; plus is relief.",
            low=-0.05,
            high=0.05,
            trait="neck.free_bow",
        ),
        length(
            "string_line",
            "Strings over the line about which the neck bends.",
            3,
            40,
            learn="offset",
            trait="neck.string_line",
        ),
        Field(
            "stiffness",
            "rigidity",
            "Bending stiffness of the neck.",
            low=20.0,
            high=5000.0,
            learn="factor",
            trait="neck.bending",
        ),
        Field(
            "rod_moment", "moment", "Moment of the truss rod as found.", low=-20.0, high=50.0, trait="neck.rod_moment"
        ),
        Field(
            "rod_per_turn",
            "moment per turn",
            "Moment per turn of the truss rod.",
            low=0.0,
            high=50.0,
            trait="neck.rod_per_turn",
        ),
    ),
)

SPRINGS = Table(
    "springs",
    "The springs of a knife-edge bridge.",
    (
        Field("kind", "text", "Name of a spring pattern."),
        Field(
            "rate",
            "rate",
            "Rate of one open spring.",
            low=100.0,
            high=2e4,
            usual=(1000.0, 8000.0),
            learn="factor",
            trait="springs.rate",
        ),
        Field(
            "initial_pull",
            "force",
            "Pull at which a spring begins to open.",
            low=0.0,
            high=100.0,
            learn="factor",
            trait="springs.initial",
        ),
        length(
            "free_length", "Hook to hook, coils closed.", 20, 150, usual=(40, 100), learn="offset", trait="springs.free"
        ),
        Field("closed_rate", "rate", "Stiffness once the coils touch.", low=1e4, high=1e7, trait="springs.closed_rate"),
        Field("places", "count", "Number of hook places in the block.", low=1, high=7),
        Field("patterns", "patterns", "Which places a number of springs uses, counted from treble: { 3 = [1, 3, 5] }."),
        length("hook_aft", "Hooks of the block, aft of the pivot.", -20, 40, learn="offset", trait="springs.hook_aft"),
        length(
            "hook_depth",
            "Hooks of the block, below the pivot line.",
            10,
            80,
            learn="offset",
            sign=-1.0,
            trait="springs.hook_up",
        ),
        length("hook_spread", "Outermost hooks of the block.", 0, 100, form="spread", trait="springs.hook_z"),
        length("claw_spread", "Outermost hooks of the claw.", 0, 100, form="spread", trait="springs.claw_z"),
    ),
)

CLAW = Table(
    "claw",
    "The claw that holds the springs' other ends.",
    (
        length(
            "wall",
            "Pivot line to the cavity wall the claw is screwed to.",
            30,
            200,
            learn="offset",
            sign=-1.0,
            trait="claw.wall_x",
        ),
        length("depth", "Hook line under the body top.", 5, 60, sign=-1.0, trait="claw.y"),
        Field(
            "angle",
            "angle",
            "Of the screws; plus when the hook line rises away from the wall.",
            low=-0.6,
            high=0.6,
            trait="claw.angle",
        ),
        Field("lead", "lead", "Travel of the claw per turn.", low=2e-4, high=4e-3, trait="claw.lead"),
        length(
            "travel", "Least and greatest distance from wall to hook line.", 0, 80, form="span", trait="claw.travel"
        ),
        length("screw_spread", "Distance between the claw screws.", 10, 80, form="spread", trait="claw.screw_z"),
    ),
)

THERMAL = Table(
    "thermal",
    "What warmth does.",
    (
        Field(
            "reference",
            "temperature",
            "Temperature at which all this was measured.",
            low=263.15,
            high=323.15,
            trait="thermal.reference",
        ),
        Field(
            "string_expansion",
            "expansion",
            "Linear expansion of the strings.",
            low=0.0,
            high=1e-3,
            trait="thermal.string_expansion",
        ),
        Field(
            "body_expansion",
            "expansion",
            "Linear expansion of neck and body along the strings.",
            low=-1e-4,
            high=1e-3,
            trait="thermal.body_expansion",
        ),
        Field(
            "modulus_fall",
            "expansion",
            "Relative fall of the strings' stiffness.",
            low=0.0,
            high=1e-2,
            trait="thermal.modulus_fall",
        ),
    ),
)

PLAYING = Table(
    "playing",
    "How it is played: where the finger stands, how hard the strings are struck.",
    (
        Field(
            "finger_place",
            "ratio",
            "Where the finger stands, as a share of the way from the fret behind to the fret held.",
            low=0.0,
            high=1.0,
            learn="offset",
            trait="playing.finger_place",
        ),
        length(
            "finger_depth",
            "How far the finger presses the string under the line over the two frets.",
            0.0,
            2.0,
            usual=(0.0, 1.0),
            learn="offset",
            trait="playing.finger_depth",
        ),
        Field(
            "pluck_place",
            "ratio",
            "Where the string is struck, as a share of the open string from the saddle.",
            low=0.02,
            high=0.5,
            learn="offset",
            trait="playing.pluck_place",
        ),
        Field(
            "pluck_force",
            "force",
            "Force of a firm stroke, the part of it square to the board.",
            low=0.0,
            high=20.0,
            usual=(0.2, 6.0),
            learn="offset",
            trait="playing.pluck_force",
        ),
    ),
)

LAYOUT = Layout(
    "instrument",
    "An instrument as a technician knows it; what is not written comes from the pattern.",
    (INSTRUMENT, BRIDGE, NUT, NECK, SPRINGS, CLAW, THERMAL, PLAYING),
)
