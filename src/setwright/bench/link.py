"""The planner's end of the line protocol: one command a line out, one answer a line in (docs/practice.md)."""

from __future__ import annotations

import json
import math
import shlex
import subprocess
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import Any, NoReturn

from setwright.bench.guided import told, wanting
from setwright.bench.working import BrokenLinkError, Cost, Ended, Recorded, RefusedError, Step, Tell, work
from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.instrument.settings import FEWEST, Fewest

LONGEST = 1_000_000  # characters of one line
HIGHEST = 10_000.0  # Hz
WIDEST = 0.05  # m, of a rear gap either way
FURTHEST = 0.5  # m, of a claw from the wall
PATIENCE = 5.0  # s, a child may take to end by itself


class Wire:
    """An instrument behind two text streams. It answers as `guided.Answering` asks."""

    def __init__(self, lines: Iterable[str], say: Callable[[str], None]) -> None:
        """Take up both ends.

        Args:
            lines: as the instrument sends them, its first line first.
            say: sends one line, without its end.
        """
        self._lines, self._say = iter(lines), say

    def hello(self) -> Any:
        """The first line, decoded; FileFormatError where there is none or it is no JSON."""
        try:
            return self._next("its first line")
        except BrokenLinkError as error:
            raise FileFormatError(str(error)) from None

    def pitch(self, string: int) -> float:
        """Pluck string (from 1) and read [Hz]; 0 = slack."""
        return self._number({"do": "pitch", "string": string}, "hz", 0.0, HIGHEST)

    def tune(self, string: int, hz: float) -> float:
        """Tune string (from 1) to hz [Hz]; what is heard then [Hz]."""
        return self._number({"do": "tune", "string": string, "hz": hz}, "hz", 1.0, HIGHEST)

    def claw(self, turns: float) -> None:
        """Turn both claw screws, in > 0 [turn]."""
        self._ask({"do": "claw", "turns": turns})

    def gap(self) -> float:
        """Read the rear gap [m]."""
        return self._number({"do": "gap"}, "m", -WIDEST, WIDEST)

    def claw_distance(self) -> float:
        """Read the claw's distance to the wall [m]."""
        return self._number({"do": "claw_distance"}, "m", -FURTHEST, FURTHEST)

    def wedge(self, m: float | None) -> None:
        """Put a wedge in that props at gap m [m], or take it out (None)."""
        self._ask({"do": "wedge", "m": m})

    def springs(self, n: int) -> None:
        """Hang another number of springs."""
        self._ask({"do": "springs", "n": n})

    def attitude(self, name: str) -> None:
        """Lay the instrument another way: playing, flat, upright, face_down."""
        self._ask({"do": "attitude", "is": name})

    def bar(self, rad: float) -> None:
        """Turn the plate with the bar, rear up > 0 [rad], and let go."""
        self._ask({"do": "bar", "rad": rad})

    def done(self) -> dict[str, Any]:
        """Hand it back; the verdict, nested or flat, as it came."""
        answer = self._ask({"do": "done"})
        verdict = answer.get("verdict", answer)
        if not isinstance(verdict, dict):
            raise BrokenLinkError(
                "the answer to done has a verdict that is no object; it must give passed, true or false."
            )
        return verdict

    def _ask(self, command: dict[str, Any]) -> dict[str, Any]:
        """Send a command, take the answer."""
        what = str(command["do"])
        try:
            self._say(json.dumps(command, allow_nan=False, separators=(",", ":")))
        except (OSError, ValueError):
            raise BrokenLinkError(
                f"the instrument takes no more commands, {what} could not be sent; start it anew."
            ) from None
        answer = self._next(f"the answer to {what}")
        if not isinstance(answer, dict) or not isinstance(answer.get("ok"), bool):
            raise BrokenLinkError(
                f'the answer to {what} does not say "ok"; it must be an object with "ok" true or false.'
            )
        if not answer["ok"]:
            raise RefusedError(f"the instrument refused {what}: {_one_line(answer.get('error'))}")
        return answer

    def _number(self, command: dict[str, Any], name: str, least: float, most: float) -> float:
        """A finite number out of an answer, inside what such a reading can be."""
        what = command["do"]
        value = self._ask(command).get(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BrokenLinkError(
                f"the answer to {what} has {_short(value)} for {name}; it must be one number in SI units."
            )
        if not least <= value <= most:
            raise BrokenLinkError(
                f"the answer to {what} has {value:g} for {name}; such a reading lies between {least:g} and {most:g} "
                "in SI units, send hertz and metres."
            )
        return float(value)

    def _next(self, what: str) -> Any:
        """One line, decoded; empty ones are passed over."""
        while True:
            try:
                line = next(self._lines, None)
            except (OSError, ValueError) as error:
                raise BrokenLinkError(
                    f"{what} cannot be read ({type(error).__name__}); send lines of JSON in UTF-8."
                ) from None
            if line is None:
                raise BrokenLinkError(f"the instrument went silent before {what}; start it anew.")
            if line.strip():
                break
        try:
            return json.loads(line[: LONGEST + 1], parse_constant=_no_number)
        except (ValueError, RecursionError):
            raise BrokenLinkError(f"{what} is no JSON: {_short(line.strip())}; send one object a line.") from None


def _no_number(text: str) -> NoReturn:
    raise ValueError(text)


def _short(value: object) -> str:
    text = "nothing" if value is None else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _one_line(value: object) -> str:
    text = " ".join(str(value).split())[:300] if isinstance(value, str) else ""
    return text or "it does not say why."


@frozen
class Verdict:
    """What the instrument said at the end; only `passed` is always said."""

    passed: bool
    gap_error: float | None = None  # m
    cents: tuple[float, ...] | None = None  # per string, off its pitch
    minutes: float | None = None
    peak: float | None = None  # cents, of any string over its pitch at any time


@frozen
class Outcome:
    """A whole job over the line protocol."""

    verdict: Verdict
    ended: Ended
    reason: str  # one sentence where it did not end well
    chance: float | None  # of being inside everything, as believed at the end
    cost: Cost
    steps: tuple[Step, ...]


def link(
    lines: Iterable[str], say: Callable[[str], None], tell: Tell | None = None, fewest: Fewest = FEWEST[0]
) -> Outcome:
    """Do the whole job on an instrument behind the line protocol.

    Args:
        lines: as the instrument sends them, its first line first.
        say: sends one line, without its end.
        tell: as in `working.work`.
        fewest: what the way is chosen for.
    Returns: verdict and what was asked. A refused command ends the work; the instrument is handed back all the same.
    Raises: FileFormatError where the first line cannot be used; BrokenLinkError where the instrument cannot be
        understood; RefusedError where it refuses even to be handed back.
    """
    wire = Wire(lines, say)
    job = wanting(told(wire.hello()), fewest)
    went = work(job, Recorded(wire), tell)
    verdict = _verdict(wire.done())
    return Outcome(verdict, went.ended, went.reason, went.chance, went.cost, went.steps)


def _verdict(content: dict[str, Any]) -> Verdict:
    passed = content.get("passed")
    if not isinstance(passed, bool):
        raise BrokenLinkError(f"the verdict has {_short(passed)} for passed; it must be true or false.")
    cents = content.get("cents")
    if cents is not None and not isinstance(cents, list):
        raise BrokenLinkError(f"the verdict has {_short(cents)} for cents; it must be a list of numbers.")
    return Verdict(
        passed,
        _maybe(content, "gap_error"),
        None if cents is None else tuple(_checked(one, "cents") for one in cents),
        _maybe(content, "minutes"),
        _maybe(content, "peak_cents_above_target"),
    )


def _maybe(content: dict[str, Any], name: str) -> float | None:
    return None if content.get(name) is None else _checked(content[name], name)


def _checked(value: Any, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BrokenLinkError(f"the verdict has {_short(value)} for {name}; it must be a finite number.")
    return float(value)


@contextmanager
def started(command: str) -> Iterator[tuple[Iterable[str], Callable[[str], None]]]:
    """Start an instrument as a child process and talk to its pipes.

    Args:
        command: program and arguments, quoted as in a shell; no shell reads it.
    Returns: its lines, and what sends one line to it. At the end its input is closed; it is ended if it does not end.
    Raises: InputError where it cannot be started.
    """
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise InputError(f"--run {command!r}: {error}; close every quote.") from None
    if not words:
        raise InputError('--run names no program; give one, as --run "setwright practice --serve 1".')
    try:
        child = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8", bufsize=1
        )
    except OSError as error:
        raise InputError(f"{words[0]} cannot be started: {error.strerror}; name a program that is there.") from None
    assert child.stdin is not None
    assert child.stdout is not None
    stdin = child.stdin

    def say(line: str) -> None:
        stdin.write(line + "\n")
        stdin.flush()

    try:
        yield child.stdout, say
    finally:
        _end(child)


def _end(child: subprocess.Popen[str]) -> None:
    assert child.stdin is not None
    assert child.stdout is not None
    with suppress(OSError):  # it may have gone already, with a command unread
        child.stdin.close()
    try:
        child.wait(PATIENCE)
    except subprocess.TimeoutExpired:
        child.terminate()
        child.wait()
    child.stdout.close()
