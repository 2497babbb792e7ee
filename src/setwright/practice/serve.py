"""The instrument's end of the line protocol: JSON Lines in, JSON Lines out; nonsense gets one sentence, not an end."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Any, NoReturn

from setwright.errors import InputError, SetwrightError
from setwright.practice.instrument import Practice, Verdict

LONGEST = 10_000  # characters of one command

# command, which is also the name of what the practice instrument does: the fields it takes, the field of its answer
COMMANDS: dict[str, tuple[tuple[str, ...], str | None]] = {
    "pitch": (("string",), "hz"),
    "tune": (("string", "hz"), "hz"),
    "claw": (("turns",), None),
    "gap": ((), "m"),
    "claw_distance": ((), "m"),
    "wedge": (("m",), None),
    "wedge_loose": ((), "loose"),
    "bar": (("rad",), None),
    "springs": (("n",), None),
    "attitude": (("is",), None),
    "done": ((), "verdict"),
}


def serve(hello: dict[str, Any], practice: Practice, commands: Iterable[str], say: Callable[[str], None]) -> bool:
    """Answer commands until done or the end of the input.

    Args:
        hello: the first line to say.
        practice: the instrument.
        commands: lines as they come in.
        say: sends one line.
    Returns: whether the instrument was handed back.
    """
    say(_line(hello))
    for text in commands:
        if not text.strip():
            continue
        answer, over = _answer(practice, text)
        say(_line(answer))
        if over:
            return True
    return False


def _answer(practice: Practice, text: str) -> tuple[dict[str, Any], bool]:
    """One answer, and whether it was the last."""
    try:
        command = _decoded(text)
        name = command["do"]
        fields, answer = COMMANDS[name]
        got = getattr(practice, name)(*(command[field] for field in fields))
        content = asdict(got) if isinstance(got, Verdict) else got
        return {"ok": True} | ({answer: content} if answer else {}), name == "done"
    except SetwrightError as error:
        return {"ok": False, "error": str(error)}, False


def _decoded(text: str) -> dict[str, Any]:
    """A command with all its fields and no others."""
    if len(text) > LONGEST:
        raise InputError(f"the line has {len(text)} characters; a command has at most {LONGEST}.")
    try:
        command = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise InputError('the line is no JSON; send one object a line, as {"do": "gap"}.') from None
    if not isinstance(command, dict) or not isinstance(command.get("do"), str):
        raise InputError('the line is no command; send one object with "do", as {"do": "gap"}.')
    name = command["do"]
    if name not in COMMANDS:
        raise InputError(f"there is no command {name[:40]!r}; known: {', '.join(COMMANDS)}.")
    wanted = ("do", *COMMANDS[name][0])
    if set(command) != set(wanted):
        raise InputError(f"{name} takes the fields {', '.join(wanted)}; got {', '.join(sorted(command))[:200]}.")
    return command


def _no_number(text: str) -> NoReturn:
    raise ValueError(text)


def _line(content: dict[str, Any]) -> str:
    return json.dumps(content, allow_nan=False, separators=(",", ":"))
