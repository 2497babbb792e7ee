"""The set for a feel in plain text."""

from __future__ import annotations

from setwright.bench.string_feel import FITS, Choice, Offer, Suggestion
from setwright.cli.layout import columns, paragraph
from setwright.cli.string_words import about_sentences, banded, pull, sheet_sentences
from setwright.cli.words import note
from setwright.units.show import System

FEELS = {"same": "As the set that was on", "equal": "Equal on all strings"}


def feel_text(suggestion: Suggestion, system: System) -> str:
    """A suggested set.

    Args:
        suggestion: the set.
        system: "inch" or "mm".
    Returns: text of at most 80 columns.
    """
    sheet = suggestion.sheet
    title = f"{FEELS[suggestion.feel]}: {sheet.title[0].lower()}{sheet.title[1:]}"
    rows: list[tuple[str, ...]] = [("", "pitch", "was", "wanted", "take", "pulls", "lighter", "heavier")]
    if suggestion.was is None:
        rows = [rows[0][:2] + rows[0][3:]]
    for i, choice in enumerate(suggestion.choices):
        row = _row(i + 1, choice, sheet.reference, system)
        rows.append(row if suggestion.was is not None else row[:2] + row[3:])
    out = [title, "=" * len(title), *columns(rows, indent=0, gap=2, right=(0,)), ""]
    out += ["The set: " + " ".join(choice.take.gauge for choice in suggestion.choices)]
    out += [f"All together pull {banded(sheet.total, system)}.", ""]
    about = about_sentences(sheet, system)
    out += [line for text in about for line in paragraph(text)] + [""] * bool(about)
    told = [text for i, choice in enumerate(suggestion.choices) for text in _sentences(i + 1, choice, system)]
    told += sheet_sentences(sheet, system)
    out += [line for text in told for line in paragraph(f"- {text}", 0, 2)] + [""] * bool(told)
    out += paragraph("± holds 95 of 100 strings that these may be. Gauges are those usually kept (common practice).")
    if suggestion.was is not None:
        out += paragraph(
            "Wanted is what the old set pulls by the same catalogue; "
            "wound strings of one maker are mostly off together."
        )
    return "\n".join(out)


def _row(count: int, choice: Choice, reference: float, system: System) -> tuple[str, ...]:
    return (
        f"{count}",
        note(choice.hertz, reference),
        choice.was,
        pull(choice.wanted.value, system),
        choice.take.gauge,
        banded(choice.take.tension, system),
        _next(choice.lighter, system),
        _next(choice.heavier, system),
    )


def _next(offer: Offer | None, system: System) -> str:
    return "none" if offer is None else f"{offer.gauge} {pull(offer.tension.value, system)}"


def _sentences(count: int, choice: Choice, system: System) -> list[str]:
    out = []
    take, instead = choice.take, choice.instead
    if instead is not None:
        kind, finger = ("wound", "less") if instead.wound else ("plain", "more")
        out.append(
            f"String {count}: {kind} {instead.gauge} fits as well, {banded(instead.tension, system)}; it answers "
            f"{finger} to the finger ({instead.finger:.0f} c against {take.finger:.0f} c when pressed hard)."
        )
    if not choice.fits:
        way = "tighter" if take.off > 0.0 else "slacker"
        out.append(
            f"String {count}: no usual gauge is within {100 * FITS:.0f} %, "
            f"{take.gauge} is {100 * abs(take.off):.0f} % {way}."
        )
    return out
