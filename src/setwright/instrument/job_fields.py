"""The fields of a job file: what was found, what is wanted, what the shop has, how far one may go."""

from __future__ import annotations

from setwright.instrument.fields import Field, Layout, Table, length
from setwright.instrument.settings import ATTITUDES, FEWEST

STATES = ("at pitch", "slack", "off")
FOUND_BRIDGES = ("floating", "decked", "blocked", "fixed")
WANT_BRIDGES = ("floating", "decked", "dive-only", "blocked", "fixed")
SHIMS = ("strip", "wedge", "flat")
SPRING_KINDS = "a spring pattern"

_SHIM = (
    Field("kind", "choice", "strip at the heel end, full wedge, or full flat.", choices=SHIMS, default="strip"),
    length("thickness", "Of a wedge at its thick end.", 0.02, 5, usual=(0.05, 2), required=True),
)
_SHELF_SHIM = (*_SHIM, Field("count", "count", "How many there are.", low=1, high=99, default="1"))
_SHELF_SPRING = (
    Field("kind", "text", f"Name of {SPRING_KINDS}.", default='"usual"'),
    Field("count", "count", "How many there are.", low=0, high=20, default="1"),
)
_HEIGHT = (
    Field("fret", "fret", "Where it is read.", low=1, high=36, default="12"),
    length("values", "From the thinnest string.", 0.1, 12, usual=(0.5, 6), form="list", default="treble and bass"),
    length(
        "treble", "Thinnest string; those between follow in a straight line.", 0.1, 12, usual=(0.5, 6), default="values"
    ),
    length("bass", "Thickest string.", 0.1, 12, usual=(0.5, 6), default="values"),
)
_RELIEF = (
    length("value", "Gap under the string at the fret read.", -2, 4, usual=(-0.2, 1.2), required=True),
    Field("hold", "frets", "Frets held down.", low=1, high=36, default="[1, 17]"),
    Field("read", "fret", "Fret where the gap is read.", low=2, high=35, default="8"),
)
_ROOM = (
    length("up", "How far the saddles can still rise.", 0, 20, form="strings", default="from the instrument"),
    length("down", "How far they can still come down.", 0, 20, form="strings", default="from the instrument"),
)
_BEND = (
    Field("string", "count", "Which string.", low=1, high=12, default="3"),
    Field("semitones", "count", "How far up it is to go.", low=1, high=12, required=True),
)
_OWN = "the player's, from the instrument"
_STROKE = (
    Field("force", "force", "Square to the board.", low=0.01, high=20.0, usual=(0.1, 6.0), default=_OWN),
    Field(
        "place", "ratio", "From the saddle, of the open string; behind the last fret.", low=0.02, high=0.5, default=_OWN
    ),
)

JOB = Table(
    "job",
    "The job.",
    (
        Field("title", "text", "What the shop calls it.", required=True),
        Field("instrument", "text", "The instrument file, relative to this one.", required=True),
        Field("wish", "text", "What the owner asked for, in plain words.", default="none"),
        Field("notes", "text", "Anything worth keeping.", default="none"),
    ),
    required=True,
)

_REFERENCE = Field("reference", "pitch", "Pitch of A4.", low=380.0, high=500.0, usual=(415.0, 466.0), default="440 Hz")
_TUNING = Field("tuning", "pitch", "Open strings.", form="notes", low=15.0, high=1500.0, default='"standard"')

FOUND = Table(
    "found",
    "As found. ± is a standard uncertainty.",
    (
        Field("strings", "gauges", "The set that is on, from the thinnest.", required=True),
        _TUNING,
        _REFERENCE,
        Field("state", "choice", "Of the strings.", choices=STATES, default='"at pitch"'),
        Field(
            "bridge",
            "choice",
            "How the plate stands.",
            choices=FOUND_BRIDGES,
            default='"fixed" on a fixed bridge, else "floating"',
        ),
        Field("springs", "count", "Number of springs on.", low=0, high=7, default="3, or 0 on a fixed bridge"),
        length(
            "claw_distance",
            "Hook line of the claw to the cavity wall.",
            0,
            80,
            usual=(1, 45),
            form="pair",
            default="not read",
        ),
        length(
            "rear_gap",
            "Body top to the bottom rear edge of the plate.",
            -15,
            25,
            usual=(-6, 12),
            form="pair",
            default="not read; 0 when decked",
        ),
        Field("shims", "tables", "Shims in the pocket.", inner=_SHIM, default="none"),
        Field(
            "string_height", "table", "Fret crown to underside of the open string.", inner=_HEIGHT, default="not read"
        ),
        Field(
            "relief", "table", "Relief of the neck, string held down at two frets.", inner=_RELIEF, default="not read"
        ),
        Field(
            "pitches",
            "pitch",
            "Open strings as they sound.",
            form="list",
            low=15.0,
            high=1500.0,
            default="the tuning, when at pitch",
        ),
        Field(
            "octave",
            "cents",
            "Octave error of each string: the note held at fret 12 against the octave of the open one, sharp > 0.",
            form="strings",
            low=-80.0,
            high=80.0,
            usual=(-30.0, 30.0),
            default="not read",
        ),
        length(
            "pivot_height",
            "Pivot line over the body top.",
            0,
            25,
            usual=(0, 15),
            form="pair",
            default="from the instrument",
        ),
        Field("saddle_room", "table", "How far the saddles can still go.", inner=_ROOM, default="from the instrument"),
        Field("attitude", "choice", "How it lay when read.", choices=ATTITUDES, default='"playing"'),
        Field("temperature", "temperature", "Of the room.", low=263.15, high=323.15, default="20 C"),
    ),
    required=True,
)

WANT = Table(
    "want",
    "As wanted. ± is a tolerance (half width). Without this table everything stays as found.",
    (
        Field("strings", "gauges", "The set to go on.", default="as found"),
        Field("tuning", "pitch", "Open strings.", form="notes", low=15.0, high=1500.0, default="as found"),
        Field("reference", "pitch", "Pitch of A4.", low=380.0, high=500.0, usual=(415.0, 466.0), default="as found"),
        Field("bridge", "choice", "How the plate is to stand.", choices=WANT_BRIDGES, default="as found"),
        length(
            "rear_gap",
            "Body top to the bottom rear edge of the plate.",
            -15,
            25,
            usual=(-6, 12),
            default="floating: as found if it floated, else plate level; tolerance 0.25 mm",
        ),
        Field(
            "plate",
            "choice",
            "Plate parallel to the body top, alone or at the wanted rear gap.",
            choices=("level",),
            default="not asked for",
        ),
        Field(
            "string_height",
            "table",
            "Fret crown to underside of the open string.",
            inner=_HEIGHT,
            default="as found, or the lowest that stay clean where clean is wanted; tolerance 0.25 mm",
        ),
        length("radius", "Radius of the saddle line.", 100, 2000, usual=(150, 550), default="as the heights give it"),
        Field("relief", "table", "Relief of the neck.", inner=_RELIEF, default="as found; tolerance .002 in"),
        Field(
            "pitch_tolerance",
            "cents",
            "How near every string must be.",
            low=0.1,
            high=50.0,
            usual=(0.3, 10.0),
            default="2 c",
        ),
        Field(
            "octave",
            "cents",
            "Octave error every string shall have, with its tolerance.",
            low=-20.0,
            high=20.0,
            usual=(-5.0, 5.0),
            default="0 c is aimed at, no tolerance demanded",
        ),
        Field("up_bend", "table", "How far the arm must pull a string up.", inner=_BEND, default="none"),
        Field(
            "clean",
            "flag",
            "Whether no string may touch a fret ahead when struck, wherever it is stopped.",
            default="false",
        ),
        Field("stroke", "table", "The stroke that has to stay clean.", inner=_STROKE, default="the player's"),
        Field("attitude", "choice", "How it will be played and checked.", choices=ATTITUDES, default='"playing"'),
        Field(
            "fewest",
            "choice",
            "What the way of a floating plate is chosen for; a spring off for a while spares claw settings.",
            choices=FEWEST,
            default='"claw settings"',
        ),
    ),
)

SHOP = Table(
    "shop",
    "What is in reach.",
    (
        Field(
            "shims",
            "tables",
            "Shims on the shelf.",
            inner=_SHELF_SHIM,
            default="one strip each of .010, .015, .020 and .030 in",
        ),
        Field("springs", "tables", "Springs that could be added.", inner=_SHELF_SPRING, default='two "usual"'),
    ),
)

LIMITS = Table(
    "limits",
    "How far one may go on the way.",
    (
        Field(
            "peak",
            "cents",
            "How far above its final pitch any string may go on the way.",
            low=0.0,
            high=600.0,
            usual=(0.0, 400.0),
            default="50 c",
        ),
        Field(
            "stress", "ratio", "Share of a string's breaking load that may be used.", low=0.2, high=1.0, default="80 %"
        ),
    ),
)

LAYOUT = Layout("job", "One job on one instrument.", (JOB, FOUND, WANT, SHOP, LIMITS))
