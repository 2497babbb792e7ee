"""The notes in plain text: a table of cents for each state, then the octave errors with their remedy."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.bench.notes import NotesMap, NotesShown, Octave, octave_words, remedy_words
from setwright.bench.standing import Banded
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.cli.words import number
from setwright.units.show import System, show_cents, show_turns

SIDE_BY_SIDE = 6  # strings in one table
TEN_THOU = 0.254e-3  # m
QUARTER = 1 / 4  # turn, what bands of turns are told in
GRIP = {
    False: "strings slide under it; with --capo-grips, notes far beyond go up to 5 c sharper",
    True: "strings held fast under it once it is on",
}
ENDS = {
    "pinned": "strings free to tilt at their ends",
    "clamped": "strings held fast at both ends",
    "clamped-pinned": "strings held fast at nut and fret, free at the saddle",
}


def notes_text(result: NotesMap, system: System) -> str:
    """The answer of `setwright notes`.

    Args:
        result: the notes.
        system: "inch" or "mm".
    Returns: text of at most 80 columns.
    """
    head = paragraph(result.title)
    neck = "plate and neck settle with the held string" if result.settling else "plate and neck held where they rest"
    lines = [
        *head,
        "=" * max(map(len, head)),
        *labelled("instrument", result.instrument),
        *labelled("notes", f"cents from equal temperament above the {_from(result)}; sharp is +"),
        *labelled("worked", f"{neck}; {ENDS[result.ends]}"),
        *(labelled("capo", GRIP[result.grips]) if result.capo is not None else ()),
        *labelled("bands", "± holds 95 of 100 instruments and fingers this may be"),
    ]
    for one in result.states:
        if result.capo is not None:
            lines += section(f"open strings with the capo on {result.capo}, {one.when}", _with_capo(one, result))
        lines += section(one.when, _table(one, result))
        if one.octave:
            lines += section(f"octave at fret 12, {one.when}", octave_lines(one.octave, system))
    lines += section("remarks", [line for text in result.remarks for line in paragraph(f"- {text}", 2, 4)])
    return "\n".join(lines)


def _from(result: NotesMap) -> str:
    return "open string" if result.capo is None else f"string that the capo on {result.capo} leaves"


def _with_capo(one: NotesShown, result: NotesMap) -> list[str]:
    """How far off the capo puts every open string: the note of its fret would be 0."""
    rows: list[tuple[str, ...]] = [("string", "off the note of its fret")]
    rows += [(f"{s + 1}: {result.strings[s]}", octave_words(off)) for s, off in enumerate(one.capo)]
    return columns(rows, 0, 2, (1,))


def _table(one: NotesShown, result: NotesMap) -> list[str]:
    """Frets down, strings across, at most six in a row."""
    out: list[str] = []
    choked = set(one.choked)
    for first in range(0, len(one.cents), SIDE_BY_SIDE):
        group = range(first, min(first + SIDE_BY_SIDE, len(one.cents)))
        rows: list[tuple[str, ...]] = [("fret", *(f"{s + 1}: {result.strings[s]}" for s in group))]
        first_fret = (result.capo or 0) + 1
        for n in range(len(one.cents[0])):
            cells = (_cell(one.cents[s][n], (s + 1, n + first_fret) in choked) for s in group)
            rows.append((str(n + first_fret), *cells))
        out += [*([""] if out else []), *columns(rows, 0, 2, range(len(rows[0])))]
    if choked:
        out += paragraph("! a crown further up stands in the way of the string: it chokes there.")
    return out


def _cell(one: Banded, chokes: bool) -> str:
    return octave_words(one).removesuffix(" c") + ("!" if chokes else "")


def octave_lines(octaves: Sequence[Octave], system: System) -> list[str]:
    """One line for each string, and what to do where the travel ends first.

    Args:
        octaves: the octave errors.
        system: "inch" or "mm".
    Returns: lines.
    """
    step, name = (1e-3, "per mm back") if system == "mm" else (TEN_THOU, "per .010 in")
    rows: list[tuple[str, ...]] = [("string", "error", "saddle, by its length screw", "± turns", name)]
    rows += [
        (
            str(octave.string),
            octave_words(octave.error),
            remedy_words(octave, system).removeprefix("saddle ").removesuffix(", read first"),
            _turns_band(octave),
            show_cents(step * octave.per_metre, 0.01),
        )
        for octave in octaves
    ]
    out = columns(rows, 0, 2, (0, 1, 3, 4))
    unsure = [str(octave.string) for octave in octaves if octave.way != "stay" and not octave.sure]
    if unsure:
        out += paragraph(
            f"- String {', '.join(unsure)}: the band is wider than the error; read it before a screw is turned.", 0, 2
        )
    for octave in octaves:
        if not octave.enough:
            out += paragraph(f"- {_short(octave, system)}", 0, 2)
    return out


def _turns_band(octave: Octave) -> str:
    return show_turns(max(octave.turns.half_width, QUARTER), QUARTER).replace(" turns", "").replace(" turn", "")


def _short(octave: Octave, system: System) -> str:
    """What to do where the saddle's travel ends first."""
    lack = number(abs(octave.missing), "height", system)
    stay = show_cents(octave.left, 0.1, signed=True)
    return (
        f"String {octave.string}: the saddle's travel ends {lack} short and {stay} stay. Try, in this order: "
        f"{', '.join(octave.remedies)}."
    )
