"""The plan as rows of words, for faces that set them otherwise than the card of the command line."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.cli.card import BAND_NOTE, CLEAN, alike, less, narrow_words
from setwright.cli.step import amount_aside, amount_words, effect_lines, range_words, reading_lines
from setwright.cli.words import chance, minutes, name_of, number, sentence, spelled
from setwright.frozen import frozen
from setwright.planning.plan import Option, Plan, Step, TargetLine, Way
from setwright.units.show import System

KINDS = 6  # kinds of failure shown


@frozen
class StepRow:
    """A step. amounts: amount, what it belongs to, what stands behind; disturbs: lines under their condition."""

    key: str
    title: str
    minutes: str
    amounts: tuple[tuple[str, str, str], ...]
    range: str
    why: str
    disturbs: tuple[tuple[str, tuple[str, ...]], ...]
    read: tuple[str, ...]
    stop: str
    cautions: tuple[str, ...]


@frozen
class TargetRow:
    """A target and what the plan is predicted to give. odds: "" where nothing is demanded."""

    name: str
    wanted: str
    predicted: str
    odds: str
    inside: bool


@frozen
class WayRow:
    """A way to bring it up to pitch. mark: taken, open or closed; reason: why it is closed."""

    name: str
    mark: str
    tunings: str
    claws: str
    odds: str
    reason: str


@frozen
class Choice:
    """A combination: what it is, its chances after one round and two, its time, and why it is not the plan."""

    label: str
    first: str
    second: str
    work: str
    why: str = ""


@frozen
class Failure:
    """A kind of failure: its nearest miss, and how many more are alike."""

    label: str
    reason: str
    more: int


@frozen
class PlanRows:
    """A plan in words. tunings: of each string, "" where none; peak: "" where none; more: kinds of failure left out."""

    best: Choice
    tunings: str
    peak: str
    bands: str
    remarks: tuple[str, ...]
    steps: tuple[StepRow, ...]
    targets: tuple[TargetRow, ...]
    ways: tuple[WayRow, ...]
    other: Choice | None
    failed: int
    considered: int
    failures: tuple[Failure, ...]
    more: int
    narrow: tuple[str, ...]


def plan_rows(plan: Plan, system: System) -> PlanRows:
    """The rows of a plan.

    Args:
        plan: the plan.
        system: "inch" or "mm".
    Returns: the rows.
    """
    best, other = plan.best, plan.runner_up
    way = best.ways[0] if best.ways else None
    groups = alike(plan.rejected)
    return PlanRows(
        best=_choice(best, system),
        tunings="" if way is None else f"{way.tunings / max(len(way.pitches), 1):.1f}",
        peak="" if way is None or way.peak < 1 else f"{way.peak:.0f} c",
        bands=BAND_NOTE,
        remarks=tuple(sentence(spelled(one, system)) for one in plan.remarks),
        steps=tuple(_step(one, system, plan.reference) for one in best.steps),
        targets=tuple(_target(one, system) for one in best.targets),
        ways=tuple(_way(one, place, system) for place, one in enumerate(best.ways)),
        other=None if other is None else _choice(other, system, less(best, other)),
        failed=len(plan.rejected),
        considered=plan.considered,
        failures=tuple(
            Failure(spelled(some[0].label, system), sentence(spelled(some[0].reason, system)), len(some) - 1)
            for some in groups[:KINDS]
        ),
        more=max(0, len(groups) - KINDS),
        narrow=tuple(sentence(narrow_words(one, system)) for one in best.narrow[:3]),
    )


def _choice(option: Option, system: System, why: str = "") -> Choice:
    first, second = chance(option.chance_first), chance(option.chance_second)
    return Choice(spelled(option.label, system), first, second, minutes(option.minutes), why)


def _step(step: Step, system: System, reference: float) -> StepRow:
    return StepRow(
        key=step.key,
        title=step.title,
        minutes=minutes(step.minutes) if step.minutes else "",
        amounts=tuple(
            (amount_words(one, system, reference), one.what, amount_aside(one, reference)) for one in step.amounts
        ),
        range=sentence(range_words(step.amounts)),
        why=sentence(step.why),
        disturbs=under_conditions(effect_lines(step.effects, system)),
        read=tuple(reading_lines(step, system)),
        stop=sentence(step.stop_when and f"when {step.stop_when}"),
        cautions=tuple(sentence(one) for one in step.cautions),
    )


def _target(line: TargetLine, system: System) -> TargetRow:
    name = name_of(line.quantity, line.place)
    predicted = number(line.predicted, line.kind, system, line.half_width)
    if line.wanted is None:
        return TargetRow(name, "free", predicted, "", True)
    if line.quantity == CLEAN:
        return TargetRow(name, "no touch", predicted, chance(line.chance), line.inside)
    least = line.place.endswith("at least")
    wanted = number(line.wanted, line.kind, system, None if least else line.tolerance)
    return TargetRow(name, f"{'at least ' * least}{wanted}", predicted, chance(line.chance), line.inside)


def _way(way: Way, place: int, system: System) -> WayRow:
    mark = "taken" if place == 0 else "open" if way.allowed else "closed"
    reason = "" if way.allowed else sentence(spelled(way.reason, system))
    tunings, claws = f"{way.tunings:.0f}", f"{way.claw_settings:.1f}"
    return WayRow(spelled(way.name, system), mark, tunings, claws, chance(way.chance), reason)


def under_conditions(lines: Sequence[str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Lines of a card put under the condition they share.

    Args:
        lines: as `step.effect_lines` gives them: a condition ends with a colon, what it holds for begins with "- ".
    Returns: pairs of a condition, "" where there is none, and the lines under it.
    """
    out: list[tuple[str, list[str]]] = []
    for one in lines:
        if one.startswith("- ") and out:
            out[-1][1].append(one[2:])
        elif one.endswith(":"):
            out.append((one, []))
        elif out and not out[-1][0]:
            out[-1][1].append(one)
        else:
            out.append(("", [one]))
    return tuple((condition, tuple(some)) for condition, some in out)
