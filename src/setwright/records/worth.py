"""What a reading is worth: what done later spoils it, and how uncertain it is where no gauge was named."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType

from setwright.metrology.gauges import gauge_named
from setwright.metrology.reading import gauge_uncertainty

USUAL = MappingProxyType({  # gauge where none was named; common practice, no source
    "pitch": "tuner", "rear gap": "rule 0.5 mm", "claw distance": "rule 0.5 mm",
})  # fmt: skip
HAND = MappingProxyType({  # whose hand counts where no gauge was named: its repeatability; common practice, no source
    "string height": "stepped height gauge", "relief": "feeler gauges", "first-fret clearance": "feeler gauges",
    "octave error": "tuner",
})  # fmt: skip
SHIMS = ("strip shim", "wedge shim", "flat shim")
TURNED = ("claw", "pivot", "saddle height", "rod", "wedge", "springs", "strings changed", "step", *SHIMS)
SPOILED: Mapping[str, tuple[str, ...]] = MappingProxyType({  # what spoils a reading
    "pitch": (*TURNED, "saddle length"),
    "string height": TURNED,
    "first-fret clearance": ("rod", "strings changed", "step", *SHIMS),
    "relief": ("rod", "strings changed", "step", *SHIMS),
    "rear gap": tuple(one for one in TURNED if one != "rod"),
    "claw distance": ("claw",),
    "octave error": (*TURNED, "saddle length"),
})  # fmt: skip
OF_ONE_STRING = ("string height", "octave error")  # a saddle that moves spoils those of its own string only
HARMLESS = ("read as found", "protect", "support neck", "read again")  # steps
CENT = math.log(2.0) / 1200.0
_PLUS_MINUS = re.compile(r"±|\+\s?/?\s?-")


def spoils(did: str, way: str, of: int | None, heard: bool, what: str, string: int) -> bool:
    """Whether what was done makes a reading of before worth nothing now.

    Args:
        did: what was done, as in the journal.
        way: its way; of a step, which.
        of: the string it was done to, None where it was none.
        heard: of `tune`, what was heard afterwards was written down.
        what: what was read.
        string: which string was read, 0 for none.
    Returns: True or False.
    """
    if did == "tune":
        return what == "pitch" and of == string and not heard
    if did == "step" and way in HARMLESS:
        return False
    if did.startswith("saddle ") and what in OF_ONE_STRING and of != string:
        return False
    return did in SPOILED.get(what, ())


def uncertainty(what: str, si: float, known: float | None, written: str, gauge: str) -> float:
    """The standard uncertainty of a reading: as kept where a gauge or a ± was given, else with the usual hand.

    Args:
        what: what was read.
        si: the value; Hz of a pitch, cents where it was written in cents.
        known: as kept with the value, same unit.
        written: the value as written.
        gauge: its name, "" when not said.
    Returns: in the unit of the value.
    """
    u = known or 0.0
    if gauge or _PLUS_MINUS.search(written):
        return u
    if what in USUAL:
        least = gauge_uncertainty(gauge_named(USUAL[what]))
        if what == "pitch" and not written.rstrip().endswith("c"):
            least *= si * CENT
        return max(u, least)
    return math.hypot(u, gauge_named(HAND[what]).repeatability) if what in HAND else u
