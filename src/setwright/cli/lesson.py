"""Practice with typed commands: the advice for every step, what was done instead, and what that would have saved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TextIO

from setwright.bench.practising import (
    Lesson,
    advised,
    alone,
    begin,
    follow,
    hand_over,
    hear,
    read_claw,
    read_gap,
    use_bar,
)
from setwright.cli.practice_words import HELP, Typed, typed
from setwright.cli.unveiled_table import goal_lines, result_lines
from setwright.cli.work_log import advice_lines, heard_lines
from setwright.errors import InputError
from setwright.instrument.settings import Fewest
from setwright.planning.guide import Advice
from setwright.units.show import System

Say = Callable[[str], None]


def teach(seed: int, told: str | None, system: System, lines: TextIO, say: Say, fewest: Fewest) -> bool:
    """Let an apprentice work until the instrument is handed over or nothing more is typed.

    Args:
        seed: all of chance.
        told: path of a first line, None for one drawn by the seed.
        system: "inch" or "mm".
        lines: what is typed.
        say: prints.
        fewest: what the way that is advised is chosen for.
    Returns: whether it was handed over and passed.
    Raises: FileFormatError, InputError where no instrument can be put on the bench.
    """
    now = begin(seed, told, fewest)
    say("\n".join([f"Practice instrument {seed}", *goal_lines(now.job.goal, system), "", "AS FOUND"]))
    say("\n".join([*heard_lines(now.on.take(), system), "", 'Type help for the commands, "done" hands it over.']))
    advice = _advise(now, system, say)
    for line in _typed(lines):
        try:
            command = typed(line)
            if command.do == "help":
                say(HELP)
                continue
            if command.do == "done" or (command.do == "follow" and advice is not None and advice.do == "done"):
                result = hand_over(now)
                say("\n".join(result_lines(result, alone(seed, told, fewest=fewest), system)))
                return result.verdict.passed
            now = done(now, command, advice)
        except InputError as error:
            say(f"    {error}")
            continue
        heard = heard_lines(now.on.take(), system)
        if heard:
            say("\n".join(heard))
        advice = _advise(now, system, say)
    say("It was not handed over; nothing judges it.")
    return False


def _typed(lines: TextIO) -> Iterator[str]:
    """Lines as typed; what is no text is refused."""
    try:
        yield from lines
    except UnicodeDecodeError:
        raise InputError("what is typed is no text in this terminal's encoding; type plain letters.") from None


def _advise(now: Lesson, system: System, say: Say) -> Advice | None:
    """Say the next step."""
    advice, why_not = advised(now)
    say("")
    say("\n".join(advice_lines(advice, system)) if advice else f"    No advice: {why_not}")
    return advice


def done(now: Lesson, command: Typed, advice: Advice | None) -> Lesson:
    """Do what was typed.

    Args:
        now: the lesson as it stands.
        command: any but "done" and "help".
        advice: the next step, None where there is none.
    Returns: the lesson after it.
    Raises: InputError where it cannot be done; the lesson then stands as before.
    """
    if command.do == "follow":
        if advice is None:
            raise InputError("there is no advice to follow; type a command, help lists them.")
        return follow(now, advice)
    if command.do == "pitch":
        every = tuple(range(len(now.job.goal.hertz)))
        return hear(now, every if command.string is None else (command.string,))
    if command.do == "gap":
        return read_gap(now)
    if command.do == "read claw":
        return read_claw(now)
    if command.do == "bar":
        return use_bar(now, command.value or 0.0)
    if command.do == "claw":
        return follow(now, Advice("claw", "", turns=command.value))
    if command.do == "wedge":
        return follow(now, Advice("wedge", "", gap=command.value))
    return follow(now, Advice("tune", "", string=command.string, hertz=command.value))
