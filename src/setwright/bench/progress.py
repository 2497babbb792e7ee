"""How much of a plan's hardware a journal has done already.

A screw counts by its turns: what is left is the plan's amount less all that was turned, and nothing is left below half
an eighth. Springs, shims and strings count by what was last said of them. Steps without words of their own (the neck
off, the finish protected) are done once any later step of the plan is, or by `did step NAME`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.settings import Settings
from setwright.planning.moves import MOVES
from setwright.planning.plan import Amount, Step
from setwright.planning.targets import Problem
from setwright.records.entries import Entry

SET = 1 / 16  # turn, what may be left of a screw that is set
SAME_SHIM = 5e-5  # m, shims that are alike
PLUS = ("in", "up", "back", "tighter")
OPPOSITE = {"in": "out", "up": "down", "back": "forward", "tighter": "looser"}
OPPOSITE |= {there: here for here, there in OPPOSITE.items()}
SCREWS = {
    "pivots": "pivot", "claw": "claw", "saddles": "saddle height", "lengths": "saddle length",
}  # fmt: skip
SET_BY = {
    "shim": ("strip", "wedge_shim", "flat"), "pivots": ("pivot_rise",), "hang springs": ("springs",),
    "saddles": ("saddle_rise",), "lengths": ("saddle_back",), "relief": ("rod",), "claw": ("claw",),
}  # fmt: skip
OWN = (*SCREWS, "shim", "hang springs", "relief", "strings on", "block")
BALANCE = ("tune", "claw", "wedge")  # what is done once the hardware is: every step without words is over then


@frozen
class Work:
    """The next hardware step, with what is left of it. count: which one it is, from 1."""

    step: Step
    count: int


def work_left(problem: Problem, steps: Sequence[Step], entries: Sequence[Entry]) -> Work | None:
    """The first hardware step that is not done yet.

    Args:
        problem: the job, for its kind of bridge.
        steps: of the plan, in order.
        entries: live ones of the journal.
    Returns: the step with what is left to turn; None when all is done.
    Raises: InputError for `did step NAME` with a name no step has.
    """
    return next(iter(works_left(problem, steps, entries)), None)


def works_left(problem: Problem, steps: Sequence[Step], entries: Sequence[Entry]) -> tuple[Work, ...]:
    """Every hardware step that is not done yet.

    Args:
        problem: the job, for its kind of bridge.
        steps: of the plan, in order.
        entries: live ones of the journal.
    Returns: the steps with what is left to turn, in order.
    Raises: InputError for `did step NAME` with a name no step has.
    """
    _names_known(entries)
    did = tuple(one for one in entries if one.verb == "did")
    said = {one.way.casefold() for one in did if one.what == "step"}
    left = [_left(step, did) if step.key not in said else None for step in steps]
    begun = [step.key in said or (step.key in OWN and _touched(step.key, did)) for step in steps]
    own = any(one is not None and step.key in OWN for one, step in zip(left, steps, strict=True))
    balance = problem.targets.mode == "floating" and not own and any(one.what in BALANCE for one in did)
    out = []
    for i, step in enumerate(steps):
        over = balance or any(begun[i + 1 :])
        rest = left[i]
        if rest is not None and (step.key in OWN or not over):
            out.append(Work(rest, i + 1))
    return tuple(out)


def _names_known(entries: Sequence[Entry]) -> None:
    known = {move.key for move in MOVES}
    for one in entries:
        if one.verb == "did" and one.what == "step" and one.way.casefold() not in known:
            raise InputError(
                f"#{one.number}: no step is called {one.way!r}; strike it and name one of {', '.join(sorted(known))}."
            )


def _touched(key: str, did: Sequence[Entry]) -> bool:
    names = {
        "shim": ("strip shim", "wedge shim", "flat shim"), "hang springs": ("springs",), "relief": ("rod",),
        "strings on": ("strings changed",),
    }.get(key, (SCREWS.get(key, ""),))  # fmt: skip
    return any(one.what in names for one in did) or (key == "block" and _blocked(did))


def _left(step: Step, did: Sequence[Entry]) -> Step | None:
    """A step with what is left of its amounts; None where nothing is."""
    if step.key in SCREWS:
        amounts = tuple(rest for one in step.amounts if (rest := _turns_left(step.key, one, did)) is not None)
        return replace(step, amounts=amounts) if amounts else None
    if step.key == "shim":
        amounts = tuple(one for one in step.amounts if not _shim_done(one, did))
        return replace(step, amounts=amounts) if amounts else None
    if step.key == "hang springs":
        return None if _hung(int(step.amounts[0].value), did) else step
    if step.key in ("relief", "strings on"):
        return None if _touched(step.key, did) else step
    return None if step.key == "block" and _blocked(did) else step


def _hung(count: int, did: Sequence[Entry]) -> bool:
    """Whether so many springs hang, or did when the strings came up: one may be off for a while since."""
    springs = [(i, int(one.value.si)) for i, one in enumerate(did) if one.what == "springs" and one.value is not None]
    if not springs:
        return False
    first = next((i for i, hangs in springs if hangs == count), None)
    one_off = first is not None and springs[-1][1] == count - 1
    return springs[-1][1] == count or (one_off and any(one.what == "tune" for one in did[first : springs[-1][0]]))


def _blocked(did: Sequence[Entry]) -> bool:
    last = next((one for one in reversed(did) if one.what == "wedge"), None)
    return last is not None and last.way == "in, blocks"


def _turns_left(key: str, amount: Amount, did: Sequence[Entry]) -> Amount | None:
    """What is left to turn of one screw, or of both alike."""
    sign = 1.0 if amount.way in PLUS else -1.0
    left = sign * amount.value - _turned(SCREWS[key], amount.what, did)
    if abs(left) < SET:
        return None
    way = amount.way if left * sign > 0.0 else OPPOSITE[amount.way]
    return replace(amount, value=abs(left), way=way, exact=abs(left), turns=abs(left))


def _turned(what: str, which: str, did: Sequence[Entry]) -> float:
    """Turns of one screw so far, in, up and back positive; of "both" the mean of the two."""
    words = which.split()
    total = 0.0
    for one in did:
        if one.what != what or one.value is None:
            continue
        turns = one.value.si if one.way in PLUS else -one.value.si
        if words[0] == "string":
            share = 1.0 if one.place.string == int(words[1]) else 0.0
        elif words[0] == "both":
            share = 0.5 if one.place.side else 1.0
        else:
            share = 1.0 if one.place.side in ("", words[0]) else 0.0
        total += share * turns
    return total


def _shim_done(amount: Amount, did: Sequence[Entry]) -> bool:
    kind, way = amount.what.split()[0], "in" if amount.way == "lay in" else "out"
    return any(
        one.what == f"{kind} shim"
        and one.way == way
        and one.value is not None
        and abs(one.value.si - amount.value) < SAME_SHIM
        for one in did
    )


def applied(found: Settings, end: Settings, entries: Sequence[Entry]) -> Settings:
    """Settings as found, moved as planned where a step is only said to be done.

    Args:
        found: as found.
        end: as planned.
        entries: live ones of the journal.
    Returns: the settings; what was noted screw by screw is left to the replay.
    """
    said = [one.way.casefold() for one in entries if one.verb == "did" and one.what == "step"]
    fields = [name for key in said for name in SET_BY.get(key, ())]
    return replace(found, **{name: getattr(end, name) for name in fields})
