"""The end of a practice job: verdict, what was hidden, what it cost, in bench words."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.bench.practising import Alone, Result
from setwright.bench.working import Cost
from setwright.cli.layout import columns, section
from setwright.cli.words import note, number
from setwright.cli.work_log import Judged, verdict_lines
from setwright.planning.course import Goal
from setwright.practice.instrument import Verdict
from setwright.practice.unveiled import Unveiled
from setwright.units.show import MINUS, System, show_value

MILLI = 1000.0


def goal_lines(goal: Goal, system: System) -> list[str]:
    """What is wanted.

    Args:
        goal: the goal.
        system: "inch" or "mm".
    Returns: lines.
    """
    return section("wanted", columns(goal_rows(goal, system), gap=3))


def goal_rows(goal: Goal, system: System) -> list[tuple[str, str]]:
    """What is wanted, what and how.

    Args:
        goal: the goal.
        system: "inch" or "mm".
    Returns: pairs.
    """
    gap, room = number(goal.gap, "length", system), number(goal.gap_tolerance, "length", system)
    return [
        ("rear gap", f"{gap}, within {room}, {goal.attitude}"),
        ("strings", f"{' '.join(note(f) for f in goal.hertz)}, within {goal.pitch_tolerance:g} c"),
    ]


def judged(verdict: Verdict) -> Judged:
    """A practice instrument's verdict as the log shows it."""
    return Judged(verdict.passed, verdict.gap_error, verdict.cents, verdict.minutes, verdict.peak_cents_above_target)


def alone_lines(done: Alone, system: System) -> list[str]:
    """The end of a job done by itself.

    Args:
        done: the job.
        system: "inch" or "mm".
    Returns: lines.
    """
    out = verdict_lines(judged(done.verdict), done.ended, done.reason, done.cost, system)
    return out + hidden_lines(done.hidden, system) + each_lines(done.cost, len(done.goal.hertz))


def result_lines(mine: Result, other: Alone, system: System) -> list[str]:
    """The end of a lesson: verdict, what was hidden, and what the advice alone would have needed.

    Args:
        mine: the lesson as handed over.
        other: the same instrument by advice alone.
        system: "inch" or "mm".
    Returns: lines.
    """
    out = verdict_lines(judged(mine.verdict), "done", "", mine.cost, system) + hidden_lines(mine.hidden, system)
    return out + section("beside the advice", columns(beside_rows(mine, other), gap=3, right=(1, 2)))


def beside_rows(mine: Result, other: Alone) -> list[list[str]]:
    """What a lesson cost beside what the advice alone would have needed.

    Args:
        mine: the lesson as handed over.
        other: the same instrument by advice alone.
    Returns: a head and rows: what, of the lesson, of the advice.
    """
    sides = ((mine.verdict, mine.cost), (other.verdict, other.cost))
    return [
        ["", "yours", "advice alone"],
        ["tunings", *(str(spent.tunings) for _, spent in sides)],
        ["settings of the claw", *(str(spent.claws) for _, spent in sides)],
        ["readings", *(str(spent.readings) for _, spent in sides)],
        ["minutes", *(f"{verdict.minutes:.0f}" for verdict, _ in sides)],
        ["highest over pitch, c", *(_signed(verdict.peak_cents_above_target) for verdict, _ in sides)],
        ["passed", *("yes" if verdict.passed else "no" for verdict, _ in sides)],
    ]


def _signed(value: float) -> str:
    return f"{value:+.0f}".replace("-", MINUS)


def each_lines(cost: Cost, strings: int) -> list[str]:
    """What it cost in tunings, beside the least that is possible."""
    return ["", f"  {cost.tunings} tunings for {strings} strings: {cost.tunings / strings:.1f} for each."]


def hidden_lines(hidden: Sequence[Unveiled], system: System) -> list[str]:
    """Truth against told.

    Args:
        hidden: traits.
        system: "inch" or "mm".
    Returns: lines.
    """
    rows = [("", "told", "true"), *hidden_rows(hidden, system)]
    return section("what was hidden", columns(rows, gap=3, right=(1, 2)))


def hidden_rows(hidden: Sequence[Unveiled], system: System) -> list[tuple[str, str, str]]:
    """Truth against told.

    Args:
        hidden: traits.
        system: "inch" or "mm".
    Returns: rows: what, told, true.
    """
    return [(one.what, _shown(one.told, one, system), _shown(one.true, one, system)) for one in hidden]


def _shown(value: float, one: Unveiled, system: System) -> str:
    if one.kind == "share":
        return f"{100.0 * value:.0f} %"
    if one.kind == "moment":
        return f"{MILLI * value:.1f} N mm"
    if one.kind == "temperature":
        return f"{value:+.1f} K".replace("-", MINUS)
    if one.kind == "length":
        return number(value, "height", system)
    return show_value(value, one.kind, system)
