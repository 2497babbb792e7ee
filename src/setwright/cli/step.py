"""One step of a job card: the amount first, then what it disturbs, what to read, when to stop, the caution."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from setwright.cli.layout import columns, labelled, spread_apart
from setwright.cli.words import MARK, minutes, name_of, note, number, sentence, shim_size, signed_cents
from setwright.planning.plan import COARSE, FINE, Amount, Effect, Expected, Step, is_rough, told_turns
from setwright.units.pitch import A4
from setwright.units.show import MINUS, System, show_cents, show_length, show_turns, show_value

INDENT = 4
COLUMN = 10
SHORT = 16  # letters, up to which a condition stands behind its effect


def step_lines(count: int, step: Step, system: System, reference: float = A4) -> list[str]:
    """A step.

    Args:
        count: its number on the card, from 1.
        step: the step.
        system: "inch" or "mm".
        reference: pitch of A4 that notes are named by [Hz].
    Returns: lines.
    """
    time = minutes(step.minutes) if step.minutes else ""
    out = spread_apart(f"{count:>2}  {step.title}", time, INDENT)
    if step.amounts:
        out += ["", *_amounts(step.amounts, system, reference), ""]
    out += labelled("range", range_words(step.amounts), INDENT, COLUMN)
    out += labelled("why", sentence(step.why), INDENT, COLUMN)
    out += _several("disturbs", effect_lines(step.effects, system))
    out += _several("read", reading_lines(step, system))
    out += labelled("stop", step.stop_when and sentence(f"when {step.stop_when}"), INDENT, COLUMN)
    return out + _several("caution", [sentence(text) for text in step.cautions])


def _several(label: str, texts: Sequence[str]) -> list[str]:
    out: list[str] = []
    for i, text in enumerate(texts):
        out += labelled(label if i == 0 else "", text, INDENT, COLUMN)
    return out


def _amounts(amounts: Sequence[Amount], system: System, reference: float) -> list[str]:
    """Amount first, then what it belongs to, then how sure it is."""
    rows = [(amount_words(one, system, reference), one.what, amount_aside(one, reference)) for one in amounts]
    return columns(rows, indent=8, gap=3)


def amount_words(one: Amount, system: System, reference: float = A4) -> str:
    """An amount as a card says it.

    Args:
        one: the amount.
        system: "inch" or "mm".
        reference: pitch of A4 that notes are named by [Hz].
    Returns: e.g. "1 5/8 turns in".
    """
    if one.kind == "turns":
        about = "about " * is_rough(one)
        return f"{about}{show_turns(told_turns(one), FINE)} {one.way}".strip()
    if one.kind == "hertz":
        return note(one.value, reference)
    if one.kind == "thou":
        return f"{one.way} {shim_size(one.value, system)}".strip()
    if one.kind == "count":
        return f"{one.value:.0f}"
    way = "" if one.way == "to" else one.way
    return f"{way} {number(one.value, one.kind, system)}".strip()


def amount_aside(one: Amount, reference: float) -> str:
    """What stands behind an amount: hertz and, where the note does not tell it, the distance from the final pitch.

    Args:
        one: the amount.
        reference: pitch of A4 that notes are named by [Hz].
    Returns: words, "" where there is nothing.
    """
    if one.kind == "hertz":
        return f"{show_value(one.value, 'pitch', uncertainty=0.05)}{_off_its_own(one, reference)}"
    return ""


def range_words(amounts: Sequence[Amount]) -> str:
    """From where to where an uncertain number of turns may have to go.

    Args:
        amounts: of a step.
    Returns: words, "" where all are sure.
    """
    for one in amounts:
        if one.kind == "turns" and one.half_width is not None and is_rough(one):
            low, high = one.value - one.half_width, one.value + one.half_width
            least = "no turn" if low < COARSE else show_turns(low, COARSE).removesuffix("s").removesuffix(" turn")
            return f"from {least} to {show_turns(high, COARSE)} {one.way} in 95 of 100 cases"
    return ""


def _off_its_own(one: Amount, reference: float) -> str:
    """Distance from the string's final pitch, where the note does not tell it."""
    if one.exact is None or abs(one.exact) < 0.5:
        return ""
    shown = note(one.value, reference).partition(" ")[2].removesuffix(" c").replace(MINUS, "-")
    same = abs(float(shown or 0.0) - one.exact) < 1.0
    return "" if same else f", {signed_cents(round(one.exact), 1.0)} c from its own pitch"


def effect_lines(effects: Sequence[Effect], system: System) -> list[str]:
    """What is disturbed; a condition several effects share stands once, above them.

    Args:
        effects: of a step.
        system: "inch" or "mm".
    Returns: lines.
    """
    out: list[str] = []
    for condition, group in groupby(effects, key=lambda effect: effect.note):
        texts = [_effect(one, system) for one in group]
        if len(condition) > SHORT:
            out += [f"{condition}:", *(f"- {text}" for text in texts)]
        else:
            out += [f"{text} ({condition})" if condition else text for text in texts]
    return out


def _effect(effect: Effect, system: System) -> str:
    """From what to what."""
    name = name_of(effect.quantity, effect.place)
    if effect.after is None:
        return name
    after = number(effect.after, effect.kind, system, effect.half_width)
    if effect.before is None:
        return f"{name}: {after}"
    if effect.kind == "cents" and effect.before == 0.0:
        return f"{name}: {signed_cents(effect.after, effect.half_width)} c"
    before = number(effect.before, effect.kind, system)
    unit = after.rsplit(" ", 1)[-1]
    return f"{name}: {before.removesuffix(f' {unit}')} → {after}"


def reading_lines(step: Step, system: System) -> list[str]:
    """What to read; pitches of all strings in one line.

    Args:
        step: the step.
        system: "inch" or "mm".
    Returns: lines.
    """
    if any(one.kind == "hertz" for one in step.amounts):
        tolerance = next((one.tolerance for one in step.read if one.tolerance), None)
        within = f", within {show_cents(tolerance)}" if tolerance else ""
        return [f"each string as it is set{within}; go on to the next when it is there."]
    pitches = [one for one in step.read if one.quantity == "pitch"]
    out = []
    others = (one for one in step.read if one.quantity != "pitch")
    for _, group in groupby(others, key=lambda one: (one.quantity, one.how, one.tolerance)):
        out += _expected(list(group), system)
    return out + ([_pitches(pitches)] if pitches else [])


def _pitches(pitches: Sequence[Expected]) -> str:
    worst = max(pitches, key=lambda one: one.half_width or 0.0)
    width = f"; {worst.place} is the least certain, ± {show_cents(max(worst.half_width or 0.1, 0.1), worst.half_width)}"
    tolerance = f" within {show_cents(worst.tolerance)}" if worst.tolerance else ""
    return f"every string{tolerance} of its own pitch{width if worst.half_width else ''}"


def _expected(group: Sequence[Expected], system: System) -> list[str]:
    """What a gauge should show: alike readings without a tolerance in one line, else one line each."""
    how = f" ({group[0].how})" if group[0].how else ""
    tolerance = group[0].tolerance
    if not tolerance:
        first = f"{name_of(group[0].quantity, group[0].place)}: {_shown(group[0], system)}"
        return ["; ".join([first, *(f"{one.place}: {_shown(one, system)}" for one in group[1:])]) + how]
    allowed = f", good within {number(tolerance, _kind(group[0]), system)}"
    return [f"{name_of(one.quantity, one.place)}: {_shown(one, system)}{allowed}{how}" for one in group]


def _kind(one: Expected) -> str:
    """How a reading is told: only a shim is marked in thou whatever the units are."""
    return "length" if one.kind == "thou" else one.kind


def _shown(one: Expected, system: System) -> str:
    """A reading; heights in the inch system with the mark of the rule that is nearest."""
    value = number(one.value, _kind(one), system, one.half_width)
    if one.kind == "height" and system == "inch":
        return f"{value}, near {show_length(one.value, system, uncertainty=MARK, style='height')}"
    return value
