"""Sheets of strings in plain text."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.bench.strings import StringLine, StringSheet
from setwright.cli.layout import columns, paragraph
from setwright.cli.string_words import COVER, about_sentences, banded, sheet_sentences
from setwright.cli.words import note
from setwright.units.show import System, show_length, show_value

THOU_STRETCHED = 0.254  # mm in 10 thou
NOTES = (
    "± holds 95 of 100 sets that these may be.",
    "Load is the share of the breaking load (ASTM A228, least strength of the core).",
    "B: the partial n sounds at n times the first, times the root of (1 + B n²).",
)


def sheets_text(sheets: Sequence[StringSheet], system: System) -> str:
    """Sets at pitch.

    Args:
        sheets: the sets.
        system: "inch" or "mm".
    Returns: text of at most 80 columns.
    """
    out: list[str] = []
    for sheet in sheets:
        scale = show_length(sheet.scale, system, 5e-4 if system == "mm" else None)
        title = sheet.title if sheet.title.startswith("Strings at") else f"{sheet.title}, scale {scale}"
        out += [title, "=" * len(title), *columns(_rows(sheet, system), indent=0, right=(0, 3, 5, 6, 7)), ""]
        out += [f"All together pull {banded(sheet.total, system)}.", ""]
        told = sheet_sentences(sheet, system)
        about = about_sentences(sheet, system)
        out += [line for text in about for line in paragraph(text)] + [""] * bool(about)
        out += [line for text in told for line in paragraph(f"- {text}", 0, 2)] + [""] * bool(told)
    stretch = "1 mm" if system == "mm" else ".010 in"
    out += [line for text in NOTES for line in paragraph(text)]
    out += paragraph(f"Stretch: cents up when the whole path grows by {stretch} and the sounding length stays.")
    return "\n".join(out)


def _rows(sheet: StringSheet, system: System) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("", "gauge", "pitch", "unit mass", "tension", "load", "B in ppm", "stretch, c")]
    return rows + [_row(i + 1, line, sheet.reference, system) for i, line in enumerate(sheet.lines)]


def _row(count: int, line: StringLine, reference: float, system: System) -> tuple[str, ...]:
    stretch = line.per_millimetre
    factor = 1.0 if system == "mm" else THOU_STRETCHED
    half = max(COVER * stretch.sd * factor, 1.0)
    places = 0 if half >= 3 else 1
    mark = " !" if line.near_breaking else ""
    return (
        f"{count}",
        line.gauge,
        note(line.hertz, reference),
        show_value(line.unit_mass.value, "unit mass", system, line.unit_mass.sd or None),
        banded(line.tension, system),
        f"{100 * line.load.value:.0f} %{mark}",
        f"{1e6 * line.inharmonicity.value:.0f}",
        f"{stretch.value * factor:.{places}f} ± {half:.{places}f}",
    )
