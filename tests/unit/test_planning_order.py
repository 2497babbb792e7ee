"""The order of work comes out of prerequisites, and nothing but prerequisites."""

from __future__ import annotations

from itertools import product

import pytest

from setwright.errors import NoPlanError
from setwright.planning.moves import BY_KEY, MOVES, Move
from setwright.planning.order import in_order, needed_moves, order_of_work

CHANGES = ("shim", "pivots", "saddles", "claw", "hang springs", "strings on")
WAYS = ("by ear", "wedge out", "on the body", "blocked")
DONE = {"pivots": "pivots set", "saddles": "saddles set", "claw": "claw set", "strings on": "strings fitted"}
BEFORE = (  # left before right, wherever both happen; common practice, no source
    ("read as found", "protect"), ("protect", "slacken"), ("protect", "unhook"), ("protect", "neck off"),
    ("protect", "wedge in"), ("protect", "block"), ("slacken", "unhook"), ("slacken", "strings off"),
    ("slacken", "support neck"), ("unhook", "pivots"), ("pivots", "hang springs"), ("support neck", "neck off"),
    ("neck off", "shim"), ("shim", "neck on"), ("shim", "pivots"), ("shim", "saddles"), ("pivots", "saddles"),
    ("saddles", "tune"), ("strings off", "strings on"), ("strings on", "saddles"), ("strings on", "tune"),
    ("hang springs", "claw"), ("hang springs", "wedge in"), ("claw", "tune"), ("wedge in", "tune"),
    ("tune", "wedge out"), ("tune", "claw to rest"), ("tune", "read again"), ("read again", "octave"),
)  # fmt: skip


def job(changes: tuple[str, ...], way: str, at_pitch: bool, slack: bool) -> tuple[list[str], set[str]]:
    """Moves asked for and facts at the start of a job with these changes."""
    facts = {"neck fast", "springs hung", "plate at rest", "block out"} | ({"strings at pitch"} if at_pitch else set())
    facts |= {fact for key, fact in DONE.items() if key not in changes}
    wanted = ["tune", "read again", "octave", *changes]
    if "strings on" in changes:
        wanted.append("strings off")
    if "hang springs" in changes:
        wanted.append("unhook")
    if slack:
        wanted.append("slacken")
    wanted += {
        "by ear": ["wedge in", "claw to rest"],
        "wedge out": ["wedge in", "wedge out"],
        "blocked": ["block"],
    }.get(way, [])
    if way == "on the body":
        facts |= {"plate held", "plate as it shall stay"}
    return wanted, facts


def check(order: list[Move], facts: set[str]) -> None:
    """Every need holds when a move starts, nothing is disturbed after it was done, and the trade's order is kept."""
    now = set(facts)
    for place, move in enumerate(order):
        assert set(move.needs) <= now, f"{move.key} started without {set(move.needs) - now}"
        now = (now - set(move.ends)) | set(move.gives)
        later = {m.key for m in order[place + 1 :] if move.key in m.disturbs}
        assert not later, f"{move.key} is spoilt later by {later}"
    keys = [m.key for m in order]
    assert len(set(keys)) == len(keys)
    for first, second in BEFORE:
        if first in keys and second in keys:
            assert keys.index(first) < keys.index(second), f"{second} before {first}: {keys}"


def all_jobs() -> list[tuple[tuple[str, ...], str, bool, bool]]:
    picks = [tuple(c for c, yes in zip(CHANGES, mask, strict=True) if yes) for mask in product((0, 1), repeat=6)]
    return list(product(picks, WAYS, (False, True), (False, True)))


def test_every_set_of_changes_has_an_order_that_keeps_the_rules_of_the_trade() -> None:
    for changes, way, at_pitch, slack in all_jobs():
        wanted, facts = job(changes, way, at_pitch, slack)
        order = order_of_work(wanted, facts)
        check(order, facts)
        keys = [m.key for m in order]
        assert set(wanted) <= set(keys)
        assert "read as found" not in keys[1:]
        assert keys[0] == "read as found" or not {"slacken", "wedge in", "block", "protect"} & set(keys)
        assert keys[-1] == "octave"


def test_what_comes_down_is_protected_first() -> None:
    for changes, way, at_pitch, slack in all_jobs():
        keys = [m.key for m in order_of_work(*job(changes, way, at_pitch, slack))]
        down = [k for k in ("slacken", "unhook", "neck off", "wedge in", "block") if k in keys]
        assert not down or keys.index("protect") < min(map(keys.index, down))


def test_a_move_nobody_asked_for_comes_in_only_where_it_is_needed() -> None:
    keys = [m.key for m in order_of_work(*job(("shim",), "on the body", True, False))]
    assert {"slacken", "support neck", "neck off", "neck on", "protect"} <= set(keys)
    assert not {"unhook", "pivots", "strings off", "wedge in"} & set(keys)
    keys = [m.key for m in order_of_work(*job(("claw",), "by ear", True, False))]
    assert "slacken" not in keys  # the wedge holds the plate while the claw is turned
    assert keys.index("wedge in") < keys.index("claw") < keys.index("tune") < keys.index("claw to rest")


def test_a_block_comes_out_of_slack_strings_before_anything_is_set() -> None:
    for changes, way, at_pitch, slack in all_jobs():
        wanted, facts = job(changes, way, at_pitch, slack)
        order = order_of_work([*wanted, "unblock"], facts - {"block out"})
        check(order, facts - {"block out"})
        keys = [m.key for m in order]
        after = [k for k in (*CHANGES, "wedge in", "block", "tune") if k in keys and k not in ("shim", "strings on")]
        assert keys.index("protect") < keys.index("slacken") < keys.index("unblock") < min(map(keys.index, after))
        if way in ("by ear", "wedge out", "blocked"):  # nobody need ask for it
            assert [m.key for m in order_of_work(wanted, facts - {"block out"})] == keys


def test_pivots_bring_the_springs_off_and_on_again() -> None:
    keys = [m.key for m in order_of_work(*job(("pivots",), "by ear", True, False))]
    assert keys.index("slacken") < keys.index("unhook") < keys.index("pivots") < keys.index("hang springs")


def test_every_title_caution_and_stop_is_a_sentence_of_the_trade() -> None:
    facts = {fact for m in MOVES for fact in (*m.gives, *m.ends)}
    for move in MOVES:
        assert move.title[0].isupper()
        assert all(caution[0].isupper() and caution.endswith(".") for caution in move.cautions)
        assert set(move.disturbs) <= set(BY_KEY) | {"relief check"}
        assert move.minutes >= 0.0
        assert set(move.needs) <= facts | {"neck fast", "springs hung", "plate at rest"}  # as instruments come in


def test_a_need_that_nothing_gives_is_named() -> None:
    table = (Move("polish", "Polish the frets", needs=("frets level",)),)
    with pytest.raises(NoPlanError, match="nothing in the table of moves makes 'frets level' true"):
        needed_moves(["polish"], set(), table)
    assert needed_moves(["polish"], {"frets level"}, table) == list(table)


def test_two_moves_that_undo_each_other_have_no_order() -> None:
    one = Move("one", "One", needs=("a",), ends=("b",))
    two = Move("two", "Two", needs=("b",), ends=("a",))
    with pytest.raises(NoPlanError, match="no order of work exists for: one, two; a prerequisite is missing or two"):
        in_order([one, two], {"a", "b"})
    spoil = (Move("x", "X", disturbs=("y",)), Move("y", "Y", disturbs=("x",)))
    with pytest.raises(NoPlanError, match="no order of work exists for: x, y;"):
        in_order(list(spoil), set())
    with pytest.raises(NoPlanError, match="no order of work exists for: tune;"):
        in_order([BY_KEY["tune"]], {"strings fitted"})


def test_what_a_move_ends_is_given_again_before_it_is_needed() -> None:
    open_ = Move("open", "Open", needs=("shut",), gives=("open",), ends=("shut",))
    shut = Move("shut", "Shut", needs=("open",), gives=("shut",), ends=("open",))
    play = Move("play", "Play", needs=("shut", "cleaned"))
    clean = Move("clean", "Clean", needs=("open",), gives=("cleaned",))
    table = (play, shut, clean, open_)
    chosen = needed_moves(["play"], {"shut"}, table)
    assert {m.key for m in chosen} == {"play", "clean", "open", "shut"}
    assert [m.key for m in in_order(chosen, {"shut"})] == ["open", "clean", "shut", "play"]
