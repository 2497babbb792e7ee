"""The plan as a job card: head, verdict, as found, steps, end state, ways, balance, and what was not chosen."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from setwright.cli.balance import finished_balance
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.cli.step import step_lines
from setwright.cli.words import PLACE, chance, minutes, name_of, number, sentence, signed_cents, spelled
from setwright.frozen import frozen
from setwright.planning.plan import Effect, Narrow, Option, Plan, Rejected, TargetLine, Way
from setwright.units.show import System, show_length

CLEAN = "least clearance"  # the target that is no number: nothing may touch
KINDS_SHOWN = 3  # kinds of failure on the card, two to three lines each
NO_MOMENT = 0.005  # N m, a plate that presses less is in balance
_ONE_STRING = re.compile(r"(?P<what>.+) of (?P<new>new )?string \d+ \(.*\)$")
ADVICE = {
    "spring rate": "Hang a weight from one spring, read how far it opens further, and write springs.rate.",
    "unit mass": "Weigh a cut length of each wound string and write its unit_mass.",
    "stretch stiffness": "Write the core of each wound string, where its maker tells it.",
    "place of the claw's wall": "Measure from the pivot line to the cavity wall and write claw.wall.",
    "free length of the springs": "Measure a closed spring hook to hook and write springs.free_length.",
    "initial pull of the springs": "Read on a scale where the coils begin to open and write springs.initial_pull.",
    "spring hooks, depth": "Measure how far below the pivot line the hooks stand and write springs.hook_depth.",
    "spring hooks, aft": "Measure how far aft of the pivot line the hooks stand and write springs.hook_aft.",
    "claw distance as found": "Read the claw distance at both screws and write found.claw_distance.",
}
BAND_NOTE = "± holds 95 of 100 instruments this one may be."


@frozen
class Head:
    """What the job file says and the plan does not."""

    title: str
    instrument: str
    wish: str


def card(plan: Plan, head: Head, system: System, everything: bool = False) -> str:
    """The job card of a plan.

    Args:
        plan: the plan.
        head: title, instrument and wish.
        system: units, "inch" or "mm".
        everything: all that fails, instead of the nearest misses.
    Returns: text of at most 80 columns.
    """
    best = plan.best
    lines = [
        *_head(head),
        *_verdict(best, system),
        *section("as found", _found(plan.found, system)),
        *section("remarks", _remarks(plan.remarks, system)),
        *section("the work", _steps(best, system, plan.reference)),
        *section("in the end", _targets(best.targets, system)),
        *section("ways to bring it up to pitch", _ways(best.ways, system)),
        *section("the finished balance", finished_balance(best.figures, system) if best.figures else []),
        *section("next best", _runner_up(plan, system)),
        *section("what will not do", failures(plan.rejected, plan.considered, system, everything)),
        *section("what would narrow it most", _narrow(best.narrow, system)),
    ]
    return "\n".join(lines)


def _head(head: Head) -> list[str]:
    title = head.title or "Plan"
    out = [title, "=" * min(len(title), 80)] if len(title) <= 80 else paragraph(title)
    out += labelled("instrument", head.instrument)
    return out + labelled("wish", head.wish)


def _verdict(best: Option, system: System) -> list[str]:
    way = best.ways[0] if best.ways else None
    odds = (
        f"everything inside its tolerance after one round: {chance(best.chance_first)}; "
        f"after two: {chance(best.chance_second)}"
    )
    out = ["", *labelled("plan", spelled(best.label, system))]
    out += labelled("chance", odds)
    if way is not None:
        strings = max(len(way.pitches), 1)
        peak = (
            f"at most {way.peak:.0f} c above its final pitch on the way"
            if way.peak >= 1
            else "none above its final pitch"
        )
        work = f"about {minutes(best.minutes)}; each string tuned {way.tunings / strings:.1f} times, {peak}"
        out += labelled("work", work)
    return [*out, *labelled("bands", BAND_NOTE)]


def _found(found: Sequence[Effect], system: System) -> list[str]:
    """As found, string heights in one row."""
    rows, heights = [], []
    for effect in found:
        if effect.after is None or (effect.kind == "moment" and abs(effect.after) < NO_MOMENT):
            continue
        match = PLACE.match(effect.place)
        if match and effect.quantity == "string height":
            heights.append((match[2], number(effect.after, "height", system)))
            continue
        name = f"{effect.quantity} {effect.place}".strip()
        rows.append((name, number(effect.after, effect.kind, system, effect.half_width)))
    if heights:
        unit = heights[0][1].split(" ")[-1]
        values = "  ".join(text.removesuffix(f" {unit}") for _, text in heights)
        first, *more = textwrap.wrap(f"{values} {unit}, from string 1", 54)
        rows += [(f"height at fret {heights[0][0]}", first), *(("", line) for line in more)]
    return columns(rows) if rows else []


def _remarks(remarks: Sequence[str], system: System) -> list[str]:
    return [line for text in remarks for line in paragraph(f"- {sentence(spelled(text, system))}", 2, 4)]


def _steps(option: Option, system: System, reference: float) -> list[str]:
    out: list[str] = []
    for count, step in enumerate(option.steps, start=1):
        out += ([""] if count > 1 else []) + step_lines(count, step, system, reference)
    return out


def _targets(targets: Sequence[TargetLine], system: System) -> list[str]:
    """Target, predicted, inside; of the pitches the least certain one stands for all."""
    pitches = [line for line in targets if line.quantity == "pitch"]
    shown = [line for line in targets if line.quantity != "pitch"]
    rows = [("", "wanted", "predicted", "inside, in 100")]
    for line in shown:
        rows += _target(line, name_of(line.quantity, line.place), system)
    if pitches:
        worst = min(pitches, key=lambda line: line.chance)
        rows += _target(worst, f"pitch, least certain: {worst.place}", system)
    return columns(rows) if len(rows) > 1 else []


def _target(line: TargetLine, name: str, system: System) -> list[tuple[str, str, str, str]]:
    """One target: a row, and further rows where its name is long."""
    first, *more = textwrap.wrap(name, 30)
    predicted = number(line.predicted, line.kind, system, line.half_width)
    if line.wanted is None:
        cells = ("free", predicted, "")
    elif line.quantity == CLEAN:
        cells = ("no touch", predicted, _odds(line))
    else:
        least = line.place.endswith("at least")
        wanted = number(line.wanted, line.kind, system, None if least else line.tolerance)
        cells = (f"{'at least ' if least else ''}{wanted}", predicted, _odds(line))
    return [(first, *cells), *((text, "", "", "") for text in more)]


def _odds(line: TargetLine) -> str:
    return f"{'yes' if line.inside else 'NO'}, {chance(line.chance).removesuffix(' in 100')}"


def _ways(ways: Sequence[Way], system: System) -> list[str]:
    """The ways compared, the chosen one first; why a way is not open stands below."""
    if not ways:
        return []
    rows = [("", "tunings", "claw settings", "highest", "all inside after two rounds")]
    for i, way in enumerate(ways):
        mark = "taken" if i == 0 else "open" if way.allowed else "closed"
        peak = f"{signed_cents(round(way.peak), 1.0)} c"
        rows.append((mark, f"{way.tunings:.0f}", f"{way.claw_settings:.1f}", peak, chance(way.chance)))
    table = columns(rows, indent=4, right=(1, 2, 3))
    out = [table[0]]
    for way, line in zip(ways, table[1:], strict=True):
        out += paragraph(spelled(way.name, system), 2)
        out.append(line)
        if not way.allowed and way.reason:
            out += paragraph(spelled(way.reason, system), 4)
    return out


def _runner_up(plan: Plan, system: System) -> list[str]:
    other = plan.runner_up
    if other is None:
        return paragraph("No second combination holds.", 2)
    out = paragraph(spelled(other.label, system), 2)
    odds = (
        f"one round: {chance(other.chance_first)}; two rounds: {chance(other.chance_second)}; "
        f"about {minutes(other.minutes)}"
    )
    return out + paragraph(odds, 2) + paragraph(less(plan.best, other), 2)


def less(best: Option, other: Option) -> str:
    """Why the runner-up is not the plan.

    Args:
        best: the plan.
        other: the runner-up.
    Returns: a sentence.
    """
    if other.chance_second < best.chance_second - 0.02:
        return "Second because it is less likely to land inside every tolerance."
    if other.minutes > best.minutes + 1.0:
        return "As likely to land, but more work."
    return "As good within what is known."


def failures(rejected: Sequence[Rejected], considered: int, system: System, everything: bool) -> list[str]:
    """Why the rest fail: alike reasons together, the nearest miss first."""
    if not rejected:
        return []
    groups = alike(rejected)
    out = paragraph(f"{len(rejected)} of {considered} combinations fail. Nearest miss of each kind:", 2)
    shown = groups if everything else groups[:KINDS_SHOWN]
    for group in shown:
        for one in group if everything else group[:1]:
            more = f" ({len(group) - 1} more alike)" if len(group) > 1 and not everything else ""
            text = f"- {spelled(one.label, system)}: {spelled(one.reason, system)}{more}"
            out += paragraph(text, 2, 4)
    left = len(groups) - len(shown)
    return out + (
        paragraph(f"{left} more kind{'s' if left > 1 else ''} of reason: --all shows all.", 2) if left else []
    )


def alike(rejected: Sequence[Rejected]) -> list[list[Rejected]]:
    """What fails, by reasons that differ in their numbers only, the nearest miss first.

    Args:
        rejected: in order of their misses.
    Returns: groups in the order of their first.
    """
    groups: dict[str, list[Rejected]] = {}
    for one in rejected:
        groups.setdefault(re.sub(r"[\d.{}+-]+", "#", one.reason), []).append(one)
    return list(groups.values())


def _narrow(narrow: Sequence[Narrow], system: System) -> list[str]:
    return [line for one in narrow[:3] for line in paragraph(f"- {narrow_words(one, system)}", 2, 4)]


def narrow_words(one: Narrow, system: System) -> str:
    """What is not known well, what that does, and how to read it.

    Args:
        one: the number.
        system: "inch" or "mm".
    Returns: sentences.
    """
    label, how = _named(one, system)
    advice = next((f" {text}" for start, text in ADVICE.items() if label.startswith(start)), "")
    return f"{label}: makes {100 * one.share:.0f} % of the spread of the {one.of}{how}.{advice}"


def _named(one: Narrow, system: System) -> tuple[str, str]:
    """What is not known well, and how well it is known; one string stands for its set, whose strings differ."""
    match = _ONE_STRING.match(one.label)
    if match:
        return f"{match['what']} of the {match['new'] or ''}strings", ""
    half = 1.96 * one.sd
    factor, unit = {"share": (100.0, "%"), "N/m": (1e-3, "N/mm"), "rad": (57.29578, "deg")}.get(
        one.unit, (1.0, one.unit)
    )
    size = f"{half * factor:.2g} {unit}"
    if one.unit == "m":
        size = show_length(half, system, 0.1 * half, "thou" if system == "inch" else "mm")
    return one.label, f"; known to ± {size} ({one.source.split(':')[0]})"
