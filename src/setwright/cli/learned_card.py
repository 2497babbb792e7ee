"""What was learned, in words: figures of the balance, traits, and what would tell most next."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence

from setwright.bench.learned import Report
from setwright.cli.layout import paragraph, section
from setwright.cli.words import number, sentence, spelled, stiffness
from setwright.planning.by_sound import Effect, Trial
from setwright.planning.learned import Pair, Trait
from setwright.planning.worth import Worth
from setwright.units.show import System, places_for, show_band, show_turns, show_value
from setwright.units.tables import unit_size

BAND = 1.96  # standard uncertainties in the half width of 95 %
FINEST = 1 / 32  # turn
NAMES, CELL = 34, 21  # columns of the tables
FIGURES = {
    "stiffness ratio": "stiffness, strings over springs",
    "stiffness": "stiffness of the plate, pegs fixed",
    "stiffness at pitch": "the same, brought back to pitch",
    "gap per turn": "rear gap per turn in, pegs fixed",
    "gap per turn at pitch": "the same, brought back to pitch",
    "lever": "lever, strings over springs",
    "spring force": "force of all springs",
}
OF_STRING = re.compile(r"(.*?),? (?:of )?string (\d+)(?: \(.*\))?")
COARSE = 1 / 8  # turn, known so well the claw needs no reading more
KINDS = {"N": "force", "N/m": "rate", "kg": "mass"}  # units the two systems spell their own way


def learned_lines(title: str, found: Report, system: System) -> list[str]:
    """What was learned.

    Args:
        title: of the job.
        found: figures, traits and what would tell most.
        system: "inch" or "mm".
    Returns: lines of at most 80 columns.
    """
    told = found.learned
    out = paragraph(title)
    out += section("the balance at its wanted end", [_row("", "known before", "now, 95 %"), *_figures(found, system)])
    if told.closed:
        out += paragraph("The springs are believed closed or slack, so the balance is not known: read claw and gap.")
    if math.isfinite(told.force[0]):
        out += paragraph(f"All springs pull {_figure('spring force', *told.force, system)} as it stands now.")
    out += section("the instrument", _traits(told.traits, system))
    out += section("told together only", [line for one in told.together for line in _pair(one, system)])
    out += section("what would tell most next", [*_reading(found.worth), *_trial(found, system)])
    for text in found.remarks:
        out += paragraph(spelled(sentence(text), system))
    return out


def _row(name: str, *cells: str) -> str:
    return "".join([f"  {name:<{NAMES}}", *(f"  {cell:<{CELL}}" for cell in cells)]).rstrip()


def _rows(name: str, *cells: str) -> list[str]:
    """A row whose name takes as many lines as it needs."""
    first, *rest = textwrap.wrap(name, NAMES, break_on_hyphens=False)
    return [_row(first, *cells), *(_row(f"  {line}") for line in rest)]


def _figures(found: Report, system: System) -> list[str]:
    return [
        _row(
            FIGURES.get(one.what) or f"string {one.string} per turn in",
            _figure(one.what, one.before, one.before_sd, system),
            _figure(one.what, one.after, one.after_sd, system),
        )
        for one in found.learned.figures
    ]


def _figure(what: str, value: float, sd: float, system: System) -> str:
    """A figure with its band."""
    if not (math.isfinite(value) and math.isfinite(sd)):
        return "not known"
    half = BAND * sd
    if what in ("stiffness", "stiffness at pitch"):
        return stiffness((value, half))
    if what in ("gap per turn", "gap per turn at pitch"):
        return number(value, "length", system, half)
    if what == "spring force":
        return number(value, "force", system, half)
    if what == "cents per turn":
        return number(value, "cents", system, half)
    return _plain(value, half, "")


def _plain(value: float, half: float, unit: str) -> str:
    """A number of a kind the units have no name for."""
    if half <= 0.0:
        return f"{value:.4g} {unit}".rstrip().replace("-", "−")
    places = max(0, places_for(half))
    return f"{value:.{places}f} ± {half:.{places}f} {unit}".rstrip().replace("-", "−")


def _traits(traits: Sequence[Trait], system: System) -> list[str]:
    """Traits told and partly told, most told first; the others by name."""
    out: list[str] = []
    for told, head in (("told", "told"), ("partly", "partly told")):
        some = sorted((one for one in traits if one.told == told), key=lambda one: -one.taken)
        if some:
            out.append(_row(f"{head}:", "known before", "now, 95 %"))
        for one in some:
            before, after = (
                _trait(one.unit, v, s, system) for v, s in ((one.before, one.before_sd), (one.after, one.after_sd))
            )
            out += _rows(one.label, before, after)
    rest = gathered([one.label for one in traits if one.told == "not told"])
    return out + (paragraph(f"not told: {'; '.join(rest)}.", 2, 4) if rest else [])


def gathered(labels: Sequence[str]) -> list[str]:
    """Labels that differ in the number of their string only, put into one.

    Args:
        labels: e.g. "string behind the nut, string 1".
    Returns: e.g. "string behind the nut, strings 1, 2, 3", each where its first stood.
    """
    found: dict[str, list[str]] = {}
    for label in labels:
        match = OF_STRING.fullmatch(label)
        found.setdefault(match[1] if match else label, []).extend([match[2]] if match else [])
    return [
        f"{stem}, string{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}" if numbers else stem
        for stem, numbers in found.items()
    ]


def _trait(unit: str, value: float, sd: float, system: System) -> str:
    half = BAND * sd
    if unit == "m":
        return number(value, "length", system, half if half > 0.0 else None)
    if unit in KINDS and half > 0.0:
        return show_band(value, half, KINDS[unit], system)
    return _plain(value, half, unit if unit != "1" else "")


def _pair(one: Pair, system: System) -> list[str]:
    way = "more" if one.trade > 0.0 else "less"
    first, second = (_amount(unit, abs(v), system) for unit, v in zip(one.units, (one.amount, one.trade), strict=True))
    return paragraph(
        f"{one.first} with {one.second}: {first} more of the first and {second} {way} of the second read the same "
        f"(correlation {one.correlation:+.2f})".replace("-", "−")
        + ".",
        2,
        4,
    )


def _amount(unit: str, value: float, system: System) -> str:
    if unit == "m":
        return number(value, "height", system)
    if unit in KINDS:
        return show_value(value, KINDS[unit], system)
    return f"{value:.3g} {unit}".removesuffix(" 1")


def _reading(worth: Worth | None) -> list[str]:
    if worth is None or BAND * worth.before < COARSE:
        return paragraph(f"With gauges: nothing; the claw's end is known to {show_turns(COARSE)}.", 2, 4)
    name = worth.what if worth.string is None else f"{worth.what} of string {worth.string}"
    before, after = (show_turns(BAND * one, FINEST) for one in (worth.before, worth.after))
    return paragraph(f"With gauges: {name} (claw from ± {before} to ± {after}).", 2, 4)


def _trial(found: Report, system: System) -> list[str]:
    """The experiment by sound alone, with what it is expected to leave."""
    trial = found.by_sound
    if trial is None:
        return paragraph(f"By sound alone: {found.silent}.", 2, 4)
    out = paragraph(f"By sound alone: {_words(trial)}.", 2, 4)
    if trial.effects:
        effects = "; ".join(_effect(one, system) for one in trial.effects)
        out += paragraph(f"Expected, half widths of 95 %: {effects}.", 4)
        if trial.do == "claw":
            out += paragraph("The thread has slack: let the claw's last way before it be the same.", 4)
        out += paragraph("Put it into the journal and ask again; what was set off comes back at the end.", 4)
    return out


def _words(trial: Trial) -> str:
    if trial.do == "tune" and trial.string is not None and trial.hertz is not None and trial.cents is not None:
        pitch = show_value(trial.hertz, "pitch", uncertainty=0.05)
        way = "down" if trial.cents < 0.0 else "up"
        return f"tune string {trial.string + 1} {way} {abs(trial.cents):.0f} c, to {pitch}, then hear all strings"
    if trial.do == "claw" and trial.turns is not None:
        way = "in" if trial.turns > 0.0 else "out"
        return f"turn both claw screws {way} {show_turns(abs(trial.turns), FINEST)}, then hear all strings"
    return "hear all strings first"


def _effect(one: Effect, system: System) -> str:
    before, after = BAND * one.before, BAND * one.after
    if one.what == "gap per turn":
        unit = "in" if system == "inch" else "mm"
        size = unit_size("length", unit)
        return f"{one.what} {_pair_of(before / size, after / size)} {unit}"
    if one.what == "cents per turn":
        return f"{one.what} {_pair_of(before, after)} c"
    if one.what == "spring rate":
        return f"{one.what} {_pair_of(100.0 * before, 100.0 * after)} %"
    return f"{one.what} {_pair_of(before, after)}"


def _pair_of(before: float, after: float) -> str:
    """Two half widths to two digits of the lesser."""
    places = max(0, 1 - math.floor(math.log10(max(min(before, after), 1e-9))))
    return f"{before:.{places}f} to {after:.{places}f}"
