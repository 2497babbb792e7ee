"""Sheets to print, all invented, and their text taken out again."""

from __future__ import annotations

import io
import re
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime
from typing import Any

from pypdf import PdfReader

from setwright.sheets.sheet import Group, Line, Mark, Measure, Row, SheetData

ODD = "#<&$@*_ [a](b) `x` \\ ~ \"q\" 'r' //c /*d*/ = $x^2$ @ref <label> #let y = 1 -- ... ---"
NAMES = ("D#4", "A#3", "F#3", "C#3", "G#2", "D#2", "A#1", "E1")
VERDICTS = ("inside", "outside", "not certain")
SHEET = SheetData(
    title="Set-up sheet: Dabchick",
    instrument="Dabchick",
    made=datetime(2026, 11, 25, 14, 0),
    shop="Reed Street Bench",
    address=("4 Reed Street", "Fennimoor"),
    case="26-118",
    owner="Runa Ölsen",
    about="25 1/2 in, 22 frets, fixed, six saddles, left-handed",
    strings=".010 .013 .017 .026w .036w .046w",
    tuning="E4 B3 G3 D3 A2 E2",
    bridge="fixed",
    who="Ada, Ben Hale",
    begun=date(2026, 11, 24),
    ended=date(2026, 11, 25),
    recheck=date(2027, 2, 25),
    wish="Lower, and no buzz.",
    short="All 12 wanted figures are inside their tolerance.",
    measures=(Measure("String height at fret 12", "5/64 in", "1/16 in", "1/16 to 5/64 in", "as wanted"),),
    found=("A worn slot in the nut.",),
    done=("New strings fitted.", "Truss rod set 1/8 turn looser."),
    recommended=("A new nut.",),
    not_done=("Frets levelled.",),
    care=("Keep it in its case.",),
    cautions=("Springs fly.",),
    settings=(Line("Saddle height, string 1", "1 3/8 turns up"), Line("Truss rod", "1/8 turn looser")),
    parts=(Line("Strip shim", ".020 in"),),
    notes=("Buzz at fret 5 was there before.",),
    shop_cautions=("Local codes come first.",),
    climate="temperature 21 °C, humidity 45 %",
    gauges="rule 1/64 in, tuner",
    link="https://bench.example/visit/26-118",
)


def rows(strings: int) -> tuple[Group, ...]:
    """Pitch, height, clearance and octave of some strings, relief, gap and claw."""

    def each(found: str, left: str) -> tuple[Row, ...]:
        return tuple(
            Row(f"{i + 1}  {NAMES[i]}", found.format(i + 1), f"1{i} ± 2", left.format(i + 1), VERDICTS[i % 3],
                Mark(0.6 * i - 2.0, 1.1 * i - 3.5, 0.4))
            for i in range(strings)
        )  # fmt: skip

    return (
        Group("Pitch", "open string", each("X4 −{}.5 ± 2.1 c", "X4 +{}.1 ± 1.1 c")),
        Group("String height at fret 12", "fret crown to underside", each("{}/64 ± .005 in", "{}/32 ± .004 in")),
        Group("First-fret clearance", "open string", each(".02{} ± .002 in", ".01{} ± .002 in")),
        Group("Octave error", "note held at fret 12", each("+{}.2 ± 1.2 c", "−{}.3 ± 1.3 c")),
        Group("Relief", "held at 1 and 17, read at 8", (Row("neck", ".011 in", ".009 in", remark="not read again"),)),
        Group("Rear gap", "", (Row("both sides", "3/32 in", "7/64 in", "5/32 in", "outside", Mark(-9, 9, 0.2)),)),
        Group("Claw distance", "hook line to wall", (Row("treble side", "12.5 mm", "", "11.7 mm"),)),
    )  # fmt: skip


FULL = replace(SHEET, groups=rows(6))


def pages_of(pdf: bytes) -> list[str]:
    """The text of every page."""
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    """Text without blanks and the signs some printers and readers put in their place: lines break anywhere."""
    return re.sub(r"[\s\u200b\u00ad]", "", text)


def texts(value: Any) -> list[str]:
    """Every text in some data."""
    if is_dataclass(value) and not isinstance(value, type):
        return [text for one in fields(value) for text in texts(getattr(value, one.name))]
    if isinstance(value, tuple):
        return [text for one in value for text in texts(one)]
    return [value] if isinstance(value, str) and value else []
