"""The one table of what a journal can say: for everything done or read its words, the kind of its value, its limits."""

from __future__ import annotations

from types import MappingProxyType

from setwright.frozen import frozen

_STRING = r"string (?P<string>\d{1,2})"
_FRET = r"(?:at )?fret (?P<fret>\d{1,2})"
_SIDE = r"(?:(?P<side>treble|bass))?"
_TURNED = r"(?P<value>\S.*)"


@frozen
class Form:
    """How one thing is said.

    what: its name. shape: how it is written, for messages. rest: what follows the name; a pattern, its groups parts of
    an entry. kind: of the value, "" for none. quantity: name in `plausible.QUANTITIES` that judges the value, or "".
    usual, most: turns that may stand without confirming, and turns beyond which nothing is believed (common practice,
    no source).
    """

    what: str
    shape: str
    rest: str
    kind: str = ""
    quantity: str = ""
    usual: float = 0.0
    most: float = 0.0


def _form(what: str, rest: str, shape: str, kind: str = "", quantity: str = "") -> Form:
    return Form(what, f"{what} {shape}".strip(), rest, kind, quantity)


def _screw(what: str, where: str, shape: str, ways: tuple[str, str], usual: float, most: float) -> Form:
    """A screw: where it is, which way it went, by how much."""
    gap = " " if where and not where.endswith("?") else " ?"
    rest = rf"{where}{gap}(?P<way>{'|'.join(ways)}) {_TURNED}"
    shown = f"{what} {shape} {ways[0]} 1/4 turn".replace("  ", " ")
    return Form(what, f"{shown} (or {ways[1]})", rest, "turns", "", usual, most)


_READ = (
    _form("pitch", rf"{_STRING}(?: (?P<harmonic>harmonic))?(?: {_FRET})?", "string 3 = 196.02 Hz", "pitch", "pitch"),
    _form("octave error", _STRING, "string 3 = -2 c", "cents", "octave_error"),
    _form("rear gap", _SIDE, "= 2.6 mm (or rear gap treble, bass)", "length", "rear_gap"),
    _form("claw distance", _SIDE, "treble = 13 mm (or bass, or neither)", "length", "claw_distance"),
    _form(
        "string height",
        rf"{_STRING} {_FRET}(?: with a capo on (?P<capo>\d{{1,2}}))?",
        "string 1 at fret 12 = 1.6 mm",
        "length",
        "string_height",
    ),
    _form("first-fret clearance", _STRING, "string 1 = .014 in", "length", "first_fret_clearance"),
    _form(
        "relief",
        rf"(?:{_STRING} )?(?:held at|(?P<straightedge>under a straightedge on)) (?P<low>\d{{1,2}}) and "
        r"(?P<high>\d{1,2}), ?read at (?P<at>\d{1,2})",
        "held at 1 and 17, read at 8 = .010 in (or under a straightedge on 1 and 17)",
        "length",
        "relief",
    ),
    _form("wedge loose", "", "= yes (or no)", "yes or no"),
    _form("temperature", "", "= 21 C", "temperature", "temperature"),
    _form("humidity", "", "= 45 %", "ratio", "humidity"),
)
_DID = (
    _form(
        "tune",
        rf"{_STRING} to (?P<value>[^,]+(?:,\d[^,]*)?)(?:, ?heard (?P<heard>.+))?",
        "string 3 to 194.9 Hz, heard 194.95 Hz",
        "pitch",
        "pitch",
    ),
    _screw("claw", _SIDE, "", ("in", "out"), 6.0, 40.0),
    _screw("pivot", _SIDE, "", ("up", "down"), 4.0, 20.0),
    _screw("saddle height", _STRING, "string 2", ("up", "down"), 6.0, 40.0),
    _screw("saddle length", _STRING, "string 2", ("back", "forward"), 12.0, 60.0),
    _screw("rod", "", "", ("tighter", "looser"), 0.5, 3.0),
    _form(
        "wedge",
        r"(?P<way>in|out)(?: at (?P<value>[^,]+(?:,\d[^,]*)?))?(?:, ?(?P<holds>props|blocks))?",
        "in at 2.6 mm, props (or blocks; or wedge out)",
        "length",
        "rear_gap",
    ),
    _form("springs", r"(?P<value>\d{1,2})", "4", "count"),
    _form("bar", r"(?P<way>up|down) and let go", "down and let go (or up)"),
    _form("attitude", r"(?P<way>playing|on its back|upright|face down)", "on its back"),
    *(
        _form(f"{name} shim", rf"(?P<way>in|out) {_TURNED}", "in .020 in (or out)", "length", "shim_thickness")
        for name in ("strip", "wedge", "flat")
    ),
    _form("strings changed", r"(?:to (?P<way>\S.*))?", "to .010 .013 .017 .026w .036w .046w (or no more)"),
    _form("nut", r"(?P<way>locked|unlocked)", "locked (or unlocked)"),
    _form("step", r"(?P<way>[a-z]+(?: [a-z]+){0,2})", "neck off"),
)
FORMS: MappingProxyType[str, MappingProxyType[str, Form]] = MappingProxyType(
    {
        "read": MappingProxyType({one.what: one for one in _READ}),
        "did": MappingProxyType({one.what: one for one in _DID}),
    }
)
MOST_SPRINGS = 7
CENTS_USUAL = 400.0  # cents from the wanted pitch; strings let down or wound to pitch pass through more
CENTS_MOST = 2400.0  # cents
