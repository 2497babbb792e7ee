"""Order of work from prerequisites.

What is missing is looked up among the moves, threats are kept apart, and what disturbs a result comes before it.
"""

from __future__ import annotations

from collections.abc import Iterable

from setwright.errors import NoPlanError
from setwright.planning.moves import MOVES, Move


def needed_moves(wanted: Iterable[str], facts: set[str], moves: tuple[Move, ...] = MOVES) -> list[Move]:
    """The wanted moves and every move that has to be made for them.

    A need that no fact and no chosen move provides brings in the first move that gives it. A need that a chosen move
    ends brings in the move that gives it again.

    Args:
        wanted: keys of moves.
        facts: what holds at the start.
        moves: the table.
    Returns: the moves, in the table's order.
    """
    by_key = {m.key: m for m in moves}
    chosen: dict[str, Move] = {key: by_key[key] for key in wanted}
    while True:
        ended = {fact for m in chosen.values() for fact in m.ends}
        given = {fact for m in chosen.values() for fact in m.gives}
        missing = [
            need
            for m in chosen.values()
            for need in m.needs
            if need not in given and (need not in facts or need in ended)
        ]
        added = False
        for need in missing:
            helper = next((m for m in moves if need in m.gives and m.key not in chosen), None)
            if helper is not None:
                chosen[helper.key] = helper
                added = True
                break
            if need not in facts:
                raise NoPlanError(f"nothing in the table of moves makes '{need}' true")
        if not added:
            return [m for m in moves if m.key in chosen]


def in_order(chosen: list[Move], facts: set[str]) -> list[Move]:
    """Put moves in an order in which every need holds when it is needed.

    A move waits while it would end something that a waiting move still needs and nothing left would restore, and while
    a waiting move disturbs its result. Among those that may go, the table's order decides.

    Args:
        chosen: the moves.
        facts: what holds at the start.
    Returns: the moves in order.
    Raises: NoPlanError where no order exists.
    """
    now, left, out = set(facts), list(chosen), []
    while left:
        ready = [m for m in left if set(m.needs) <= now and not _spoils(m, left, now) and not _spoilt(m, left)]
        if not ready:
            stuck = ", ".join(m.key for m in left)
            raise NoPlanError(
                f"no order of work exists for: {stuck}; a prerequisite is missing or two moves undo each other"
            )
        move = ready[0]
        left.remove(move)
        now = (now - set(move.ends)) | set(move.gives)
        out.append(move)
    return out


def _spoils(move: Move, left: list[Move], now: set[str]) -> bool:
    """Whether it ends something a waiting move needs that holds now and that no other waiting move gives again."""
    others = [m for m in left if m is not move]
    for fact in move.ends:
        if fact not in now:
            continue
        for m in others:
            restored = any(fact in r.gives for r in others if r is not m)
            if fact in m.needs and not restored:
                return True
    return False


def _spoilt(move: Move, left: list[Move]) -> bool:
    """Whether a waiting move would disturb its result."""
    return any(move.key in m.disturbs for m in left if m is not move)


def order_of_work(wanted: Iterable[str], facts: set[str]) -> list[Move]:
    """All moves a job needs, in order.

    Args:
        wanted: keys of the moves the plan asks for.
        facts: what holds at the start.
    Returns: the moves in order.
    """
    return in_order(needed_moves(wanted, facts), facts)
