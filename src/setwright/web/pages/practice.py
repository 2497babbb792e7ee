"""The practice instrument: a whole job with advice, to be followed or not; what was hidden, and what it cost.

Lessons stay in memory while the bench runs, nothing of them is in the shop.
"""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from math import log2
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from setwright.bench.practising import (
    Alone,
    Lesson,
    Result,
    advised,
    alone,
    begin,
    drawn_seed,
    hand_over,
    peg_at_hand,
    reads_gauges,
)
from setwright.cli.advice_words import todo
from setwright.cli.lesson import done
from setwright.cli.practice_words import HELP, typed
from setwright.cli.unveiled_table import beside_rows, goal_rows, hidden_rows, judged
from setwright.cli.words import note, sentence, signed_cents
from setwright.cli.work_log import heard_words, sure_words, verdict_rows
from setwright.errors import InputError, SetwrightError
from setwright.units.show import System, show_cents
from setwright.web.beside import worker
from setwright.web.frame import page, refused, see, units
from setwright.web.inline import inline
from setwright.web.routes import Form, at
from setwright.web.step_drawing import advice_drawing

MOST = 24  # lessons on the bench; the one not touched longest is put away for the next
SEVERAL = 3  # strings heard at once, from which on they are a table
BAND, CENTS = 1.96, 1200.0  # standard uncertainties in the half width of 95 %; cents of an octave
LONGEST = 80  # letters of a command
DEEDS = 400  # of a lesson
STALE = "This was done already; look at what the instrument answered, then go on."
COMMANDS = tuple(  # what can be typed, and what it does
    (line[2:18].strip(), line[18:]) for line in HELP.splitlines() if not line.strip().startswith(("(nothing)", "help"))
)
_WORKERS = worker("practice")


@dataclass
class Held:
    """A lesson on the bench. log: what was done, an advice or a line as typed, and the answers to it. advice, why_not:
    as `practising.advised`."""

    seed: int
    now: Lesson
    log: list[tuple[Any, Sequence[Any]]]
    advice: Any = None
    why_not: str = ""
    result: Result | None = None
    other: Future[Alone] | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)


_HELD: OrderedDict[str, Held] = OrderedDict()
_LOCK = threading.Lock()


def _held(request: Request) -> tuple[str, Held]:
    id = request.path_params["lesson"]
    with _LOCK:
        found = _HELD.get(id)
        if found is not None:
            _HELD.move_to_end(id)
    if found is None:
        raise HTTPException(404, "This practice instrument was put away; begin one, by its seed the same again.")
    return id, found


def show_practice(request: Request) -> Response:
    """What it is, and how to begin."""
    return page(request, "practice.html", wrong="", typed={})


def take_practice(request: Request, form: Form) -> Response:
    """Put an instrument on the bench."""
    said = form.text("seed")
    seed = form.number("seed") if said else drawn_seed()
    try:
        if seed is None:
            raise InputError(f"{said[:20]!r} is no seed; give a whole number of up to eight digits, or nothing.")
        held = _begun(seed)
    except SetwrightError as error:
        return page(request, "practice.html", 422, wrong=refused(error, units(request)), typed=form.typed())
    id = secrets.token_urlsafe(9)
    with _LOCK:
        _HELD[id] = held
        while len(_HELD) > MOST:
            _HELD.popitem(last=False)
    return see(request, f"/practice/{id}")


def _begun(seed: int) -> Held:
    lesson = begin(seed)
    held = Held(seed, lesson, [("", lesson.on.take())])
    held.advice, held.why_not = advised(lesson)
    return held


def _lesson(request: Request, status: int = 200, wrong: str = "", typed: dict[str, str] | None = None) -> Response:
    id, held = _held(request)
    system = units(request)
    goal, advice = held.now.job.goal, held.advice
    wanted = tuple(float(one) for one in goal.hertz)
    log = [
        (i, _done_words(what, answers, system, wanted), heard_words(answers, system))
        for i, (what, answers) in enumerate(held.log)
    ]
    peg = None if advice is None or held.result is not None else peg_at_hand(held.now, advice)
    drawing = "" if advice is None else advice_drawing(advice, system, peg, float(goal.pitch_tolerance))
    rows, said = _answer(held.log[-1][1], wanted, system)
    return page(
        request, "lesson.html", status, drawing=inline(drawing), heard=rows, said_then=said,
        tuner=show_cents(BAND * held.now.job.pitch_sd, 0.1),
        wrong=wrong, typed=typed or {}, path=f"/practice/{id}", seed=held.seed, log=log,
        goal=goal_rows(goal, system),
        do=("", "") if advice is None else _todo(advice, system, wanted, reads_gauges(held.now)),
        why="" if advice is None else sentence(advice.why), sure="" if advice is None else sure_words(advice, system),
        why_not=sentence(held.why_not), ready=advice is not None and advice.do == "done", end=_end(held, system),
        commands=COMMANDS,
    )  # fmt: skip


def _todo(advice: Any, system: System, wanted: Sequence[float], gauges: bool) -> tuple[str, str]:
    """What to do as it stands large, and what belongs to it; how sure the end is stands below."""
    if advice.do == "done":
        return "Done", ""
    words = todo(advice, system, wanted, gauges)
    if advice.do == "tune":  # by its note first, as a tuner shows it
        hertz = words.partition(" to ")[2]
        return f"Tune string {advice.string + 1} to {note(advice.hertz)}", hertz
    if advice.do == "read" and len(advice.strings) == len(wanted):
        return "Hear every string", words.partition(", read ")[2] and "and read the rear gap and the claw distance"
    return words, ""


def _answer(answers: Sequence[Any], wanted: Sequence[float], system: System) -> tuple[list[tuple[str, str, str]], str]:
    """What was answered last: rows of strings where there are several, and the rest as a sentence."""
    pitches = [one for one in answers if one.do == "pitch"]
    if len(pitches) < SEVERAL:
        return [], heard_words(answers, system)
    rows = []
    for one in pitches:
        own = wanted[one.string - 1]
        off = f"{signed_cents(CENTS * log2(one.answer / own), 0.1)} c" if one.answer else "slack"
        rows.append((f"string {one.string}, {note(own)}", off, f"{one.answer:.2f} Hz" if one.answer else ""))
    return rows, heard_words([one for one in answers if one.do != "pitch"], system)


def _done_words(what: Any, answers: Sequence[Any], system: System, wanted: Sequence[float]) -> str:
    """What was done, in words."""
    return what if isinstance(what, str) else todo(what, system, wanted, any(one.do == "gap" for one in answers))


def _end(held: Held, system: System) -> dict[str, Any] | None:
    """Verdict, what was hidden, and what it cost beside the advice alone; None before it is handed over."""
    if held.result is None or held.other is None:
        return None
    mine = held.result
    other = held.other.result() if held.other.done() and held.other.exception() is None else None
    return {
        "passed": mine.verdict.passed, "rows": verdict_rows(judged(mine.verdict), "done", mine.cost, system),
        "hidden": hidden_rows(mine.hidden, system), "beside": beside_rows(mine, other) if other else [],
        "waits": not held.other.done(),
    }  # fmt: skip


def show_lesson(request: Request) -> Response:
    """The instrument as it stands, and the step advised."""
    return _lesson(request)


def take_lesson(request: Request, form: Form) -> Response:
    """Do what is advised, or what was typed."""
    id, held = _held(request)
    words = form.text("words")
    with held.lock:
        if held.result is not None or form.number("count") != len(held.log):
            return _lesson(request, 409, STALE, form.typed())
        try:
            _do(held, words)
        except SetwrightError as error:
            return _lesson(request, 422, refused(error, units(request)), form.typed())
    return see(request, f"/practice/{id}")


def _do(held: Held, words: str) -> None:
    if len(words) > LONGEST:
        raise InputError(f"{len(words)} letters are too many; a command has up to {LONGEST}.")
    command, advice = typed(words), held.advice
    if command.do == "help":
        raise InputError("what can be typed stands under the field.")
    if command.do == "done" or (command.do == "follow" and advice is not None and advice.do == "done"):
        held.result = hand_over(held.now)
        held.other = _WORKERS.submit(alone, held.seed)
        return
    if len(held.log) > DEEDS:
        raise InputError("this goes on for too long; hand it over and begin another.")
    held.now = done(held.now, command, advice)
    held.log.append((advice if command.do == "follow" else words, held.now.on.take()))
    held.advice, held.why_not = advised(held.now)


ROUTES = [
    at("/practice", show_practice, take_practice, name="practice"),
    at("/practice/{lesson}", show_lesson, take_lesson, name="lesson"),
]
