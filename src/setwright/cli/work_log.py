"""The running log of a job on an instrument that answers: each step, why, what was heard then, how sure it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from setwright.bench.working import Cost, Heard, Note
from setwright.cli.advice_words import BAND, SPRINGS, pitch, todo
from setwright.cli.layout import columns, labelled, section
from setwright.cli.words import chance, number, sentence, signed_cents
from setwright.frozen import frozen
from setwright.planning.guide import Advice
from setwright.units.show import System, show_cents

INDENT = 4
COLUMN = 7
TIMES = {2: "twice", 3: "three times"}


@dataclass
class Log:
    """Says the notes of a job one after the other."""

    say: Callable[[str], None]
    system: System
    count: int = 0

    def tell(self, one: Note) -> None:
        """Say a step before it is done, or what was heard after it."""
        if isinstance(one, Advice):
            self.count += 1
            lines = advice_lines(one, self.system, self.count)
        elif self.count == 0:
            lines = [" 0  As found", *heard_lines(one, self.system)]
        else:
            lines = heard_lines(one, self.system)
        if lines:
            self.say("\n".join(lines))


def advice_lines(advice: Advice, system: System, count: int | None = None) -> list[str]:
    """A step: what to do, why, and what is believed.

    Args:
        advice: the step.
        system: "inch" or "mm".
        count: its number, from 1; None: none.
    Returns: lines.
    """
    head = "    " if count is None else f"{count:>2}  "
    out = [head + todo(advice, system), *labelled("why", sentence(advice.why), INDENT, COLUMN)]
    if advice.do == "springs":
        out += labelled("caution", SPRINGS, INDENT, len("caution") + 2)
    return out + labelled("sure", sure_words(advice, system), INDENT, COLUMN)


def sure_words(advice: Advice, system: System) -> str:
    """What is believed where a step is advised, and how sure it is.

    Args:
        advice: the step.
        system: "inch" or "mm".
    Returns: a sentence, "" where nothing is believed.
    """
    parts = []
    if advice.turns_sd is not None:
        parts.append(f"the turns ± {BAND * advice.turns_sd:.2f}")
    if advice.chance is not None:
        parts.append(f"everything inside as it stands: {chance(advice.chance)}")
    if advice.gap_now is not None and advice.gap_sd:
        parts.append(f"rear gap {number(advice.gap_now, 'length', system, BAND * advice.gap_sd)}")
    if advice.cents is not None and advice.cents_sd is not None:
        worst = int(np.argmax(np.abs(advice.cents)))
        half = max(BAND * float(advice.cents_sd[worst]), 0.1)
        off = signed_cents(float(advice.cents[worst]), half)
        parts.append(f"string {worst + 1} is furthest off, {off} ± {show_cents(half, half)}")
    return sentence("; ".join(parts))


def heard_lines(answers: Sequence[Heard], system: System) -> list[str]:
    """What was heard; repeated readings of one thing together.

    Args:
        answers: commands with their answers.
        system: "inch" or "mm".
    Returns: lines; none where nothing was read.
    """
    return labelled("heard", heard_words(answers, system), INDENT, COLUMN)


def heard_words(answers: Sequence[Heard], system: System) -> str:
    """What was heard, in a sentence.

    Args:
        answers: commands with their answers.
        system: "inch" or "mm".
    Returns: the sentence, "" where nothing was read.
    """
    pitches = [f"string {one.string} {pitch(one.answer)}" for one in answers if one.answer and one.do == "pitch"]
    pitches += [f"string {one.string} slack" for one in answers if one.do == "pitch" and not one.answer]
    tuned = [f"string {one.string} now {pitch(one.answer)}" for one in answers if one.do == "tune"]
    gaps = [_length(one.answer, system) for one in answers if one.do == "gap"]
    claws = [_length(one.answer, system) for one in answers if one.do == "claw_distance"]
    parts = pitches + tuned
    parts += [f"{name} {_listed(said)}" for name, said in (("rear gap", gaps), ("claw", claws)) if said]
    return sentence("; ".join(parts))


def _listed(said: Sequence[str]) -> str:
    """Readings of one thing, the unit said once; readings that are alike said once."""
    if len(said) > 1 and len(set(said)) == 1:
        return f"{said[0]}, {TIMES.get(len(said), f'{len(said)} times')} alike"
    unit = said[-1].rpartition(" ")[2]
    *first, last = (one.removesuffix(f" {unit}") for one in said)
    return f"{', '.join(first)} and {last} {unit}" if first else f"{last} {unit}"


def _length(metres: float | None, system: System) -> str:
    return number(float("nan") if metres is None else metres, "length", system)


@frozen
class Judged:
    """A verdict as both ends of the protocol know it; None is what was not said."""

    passed: bool
    gap_error: float | None
    cents: Sequence[float] | None
    minutes: float | None
    peak: float | None


def verdict_lines(judged: Judged, ended: str, reason: str, cost: Cost, system: System) -> list[str]:
    """The end of a job.

    Args:
        judged: the verdict.
        ended: how the work ended, "done" where it ended well.
        reason: why it did not.
        cost: what was asked.
        system: "inch" or "mm".
    Returns: lines.
    """
    rows = verdict_rows(judged, ended, cost, system)
    return section("at the end", columns(rows, gap=3) + (["", *labelled("", sentence(reason), 2, 0)] if reason else []))


def verdict_rows(judged: Judged, ended: str, cost: Cost, system: System) -> list[tuple[str, str]]:
    """The end of a job, what and how.

    Args:
        judged, ended, cost, system: as in `verdict_lines`.
    Returns: pairs.
    """
    rows = [("verdict", "passed" if judged.passed else "not passed")]
    if ended != "done":
        rows.append(("ended", ended))
    if judged.gap_error is not None:
        rows.append(("rear gap", f"{number(judged.gap_error, 'length', system)} off"))
    if judged.cents:
        rows.append(("strings", " ".join(signed_cents(c, 0.1) for c in judged.cents) + " c off"))
    if judged.peak is not None:
        rows.append(("highest", f"{signed_cents(judged.peak, 1.0)} c over a string's own pitch on the way"))
    words = (("tuning", "", cost.tunings), ("setting", " of the claw", cost.claws), ("reading", "", cost.readings))
    spent = ", ".join(f"{count} {one}{'s' * (count != 1)}{of}" for one, of, count in words)
    rows.append(("asked", spent + (f", {judged.minutes:.0f} min" if judged.minutes is not None else "")))
    return rows
