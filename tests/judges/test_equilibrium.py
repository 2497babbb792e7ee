"""Rest states against the independent energy judge, over random rigs of every kind."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.optimize import minimize

from setwright.physics.balance import Array, Equilibrium, Rig, at_pitch, equilibrium, settled_at
from tests.judges import energy as judge
from tests.judges.random_rigs import Case, many, random_case, stack

SEED = 20
COUNT = 540
TILT = 1e-8  # rad: 0.3 nm at a rear edge 30 mm from the pivot; far below any gauge, far above rounding
LEAST = 20  # of every class


@cache
def cases() -> tuple[list[Case], list[Rig]]:
    """540 rigs pegs fixed; every third of them also held at pitch (off strings stay off)."""
    made = many(SEED, COUNT)
    rigs = [case.rig for case in made]
    rigs += [at_pitch(c.rig, np.where(np.isnan(c.rig.unstretched), np.nan, c.hertz)) for c in made[::3]]
    return made + made[::3], rigs


@cache
def ours() -> list[Equilibrium]:
    """Solved in batches of equal string count, as the program does."""
    made, rigs = cases()
    out: list[Equilibrium | None] = [None] * len(rigs)
    for width in {rig.axial.shape[1] for rig in rigs}:
        index = [i for i, rig in enumerate(rigs) if rig.axial.shape[1] == width]
        state = equilibrium(stack([rigs[i] for i in index]), start=np.array([made[i].start for i in index]))
        for row, i in enumerate(index):
            out[i] = Equilibrium(**{name: getattr(state, name)[row : row + 1] for name in state.__dataclass_fields__})
    return [state for state in out if state is not None]


@cache
def theirs() -> list[judge.Rest]:
    """The judge's rests; where it differs from ours it looks again in steps of a tenth."""
    made, rigs = cases()
    found = []
    for case, rig, state in zip(made, rigs, ours(), strict=True):
        one = judge.one(rig)
        rest = judge.rest(one, case.start)
        if abs(rest.tilt - state.tilt[0]) > TILT:
            rest = judge.rest(one, case.start, march=judge.MARCH / 10.0)
        found.append(rest)
    return found


def classes(case: Case, rig: Rig, rest: judge.Rest) -> set[str]:
    """What kind of state the judge found; nothing is taken from the code under test."""
    one = judge.one(rig)
    strings = range(len(one["nut_x"]))
    springs = {judge.spring_state(one, j, rest.tilt) for j in range(5) if one["present"][j]}
    tight = [judge.string_tension(one, i, rest.tilt, rest.bow) > 0.0 for i in strings]
    out = {f"{name} spring" for name in springs}
    if one["tilt_low"] == one["tilt_high"]:
        out.add("blocked")
    elif rest.contact > 0.0:
        out.add("wedged" if case.recipe == "wedged" else "decked")
    elif rest.contact < 0.0:
        out.add("upper stop")
    else:
        out.add("floating")
    on = [judge.is_on(one, i) or judge.is_held(one, i) for i in strings]
    if not all(on):
        out.add("string off")
    if any(o and not t for o, t in zip(on, tight, strict=True)):
        out.add("slack string")
    if judge.is_held(one, 0):
        out.add("held at pitch")
    out.add(f"{len(on)} strings")
    way = {(0.0, 0.0): "playing"}.get((one["weight_x"], one["weight_y"]))
    out.add(way or ("upright" if one["weight_x"] else "on its back" if one["weight_y"] < 0.0 else "face down"))
    return out


@pytest.mark.slow
def test_every_class_of_state_is_represented(record_property: pytest.RecordProperty) -> None:
    made, rigs = cases()
    count: Counter[str] = Counter()
    for case, rig, rest in zip(made, rigs, theirs(), strict=True):
        count.update(classes(case, rig, rest))
    retuned = 0
    for case, rest in zip(made[:COUNT], theirs(), strict=False):
        if case.recipe == "soft springs":
            retuned += bool(settled_at(at_pitch(case.rig, case.hertz), rest.tilt).stiffness[0] <= 0.0)
    count["runs away on retuning"] = retuned
    for name, number in sorted(count.items()):
        record_property(name, number)
    print(dict(sorted(count.items())))
    wanted = {"floating", "decked", "wedged", "blocked", "upper stop", "string off", "slack string", "slack spring"}
    wanted |= {"closed spring", "open spring", "held at pitch", "4 strings", "6 strings", "7 strings", "8 strings"}
    wanted |= {"playing", "on its back", "upright", "face down", "runs away on retuning"}
    assert {name: count[name] for name in wanted if count[name] < LEAST} == {}


@pytest.mark.slow
def test_tilt_agrees_with_the_judge() -> None:
    made, rigs = cases()
    wrong = [
        (i, case.recipe, state.tilt[0], rest.tilt)
        for i, (case, state, rest) in enumerate(zip(made, ours(), theirs(), strict=True))
        if not abs(state.tilt[0] - rest.tilt) <= TILT
    ]
    assert len(rigs) == COUNT + COUNT // 3
    assert wrong == []


@pytest.mark.slow
def test_bow_contact_and_tension_agree_with_the_judge() -> None:
    made, rigs = cases()
    for i, (state, rest) in enumerate(zip(ours(), theirs(), strict=True)):
        one = judge.one(rigs[i])
        where = f"{i} {made[i].recipe}"
        assert state.bow[0] == pytest.approx(rest.bow, abs=1e-9), where  # 1/m: a hundredth of a micrometre of relief
        assert state.contact[0] == pytest.approx(rest.contact, abs=1e-8, rel=1e-8), where
        assert bool(state.free[0]) == (rest.contact == 0.0), where
        for s in range(len(one["nut_x"])):
            pull = judge.string_tension(one, s, rest.tilt, rest.bow)
            assert state.tension[0, s] == pytest.approx(pull, abs=1e-5), where
            assert state.length[0, s] == pytest.approx(judge.speaking(one, s, rest.tilt, rest.bow), abs=1e-9), where


@pytest.mark.slow
def test_the_nearest_of_several_minima_is_found() -> None:
    """Retuned balances with soft springs have two stops to run to, closed springs a narrow well between."""
    rng = np.random.default_rng(4)
    several = 0
    for n in range(90):
        case = random_case(rng, ("soft springs", "closed spring", "slack spring")[n % 3])
        rig = at_pitch(case.rig, case.hertz)
        one = judge.one(rig)
        if judge.count_minima(one) < 2:
            continue
        several += 1
        for start in (float(one["tilt_low"]), case.wanted, float(one["tilt_high"])):
            state = equilibrium(rig, start=start)
            rest = judge.rest(one, start)
            if abs(rest.tilt - state.tilt[0]) > TILT:
                rest = judge.rest(one, start, march=judge.MARCH / 10.0)
            assert state.tilt[0] == pytest.approx(rest.tilt, abs=TILT), (n, start)
    assert several >= LEAST


@pytest.mark.slow
def test_a_general_minimiser_finds_nothing_lower_nearby() -> None:
    """L-BFGS-B on (tilt, bow) within the stops, from our rest: the energy may fall by rounding only."""
    made, rigs = cases()
    for i in range(0, COUNT, 9):
        one = judge.one(rigs[i])
        state = ours()[i]
        scale = 1e-2  # 1/m per unit, so that both unknowns are of like size
        at = np.array([state.tilt[0], state.bow[0] / scale])

        def potential(x: Array, one: judge.One = one) -> float:
            return float(judge.energy(one, float(x[0]), float(x[1]) * 1e-2))

        bounds = [(max(one["tilt_low"], at[0] - 3e-3), min(one["tilt_high"], at[0] + 3e-3)), (at[1] - 1.0, at[1] + 1.0)]
        found = minimize(potential, at + np.array([5e-4, 0.02]), method="L-BFGS-B", bounds=bounds)
        assert potential(at) <= found.fun + 1e-9, made[i].recipe


@pytest.mark.slow
def test_a_spring_rate_wrong_by_one_percent_is_seen() -> None:
    """The check above can fail: nearly every floating state moves by far more than its tolerance."""
    made, rigs = cases()
    seen = floating = 0
    for i in range(0, COUNT, 5):
        rest = theirs()[i]
        if rest.contact != 0.0 or rigs[i].tilt_low[0] == rigs[i].tilt_high[0]:
            continue
        floating += 1
        spoiled = equilibrium(replace(rigs[i], rate=rigs[i].rate * 1.01), start=made[i].start)
        seen += bool(abs(spoiled.tilt[0] - rest.tilt) > 1000.0 * TILT)
    assert floating >= LEAST
    assert seen >= 0.8 * floating


def narrow_well(start: float) -> Case:
    """A retuned balance whose rest is a closed spring: soft on both sides, stiff between, falling away below."""
    rng = np.random.default_rng(11)
    while True:
        case = random_case(rng, "closed spring")
        one = judge.one(at_pitch(case.rig, case.hertz))
        low, high = float(one["tilt_low"]), float(one["tilt_high"])
        if low < start < high and judge.count_minima(one, 200) > 1 and judge.rest(one, start).contact == 0.0:
            return case


def test_newton_does_not_jump_over_a_closed_spring() -> None:
    """Once did: from 0 it passed the well at the closing spring and ran on to the lower stop."""
    case = narrow_well(0.03)
    rig = at_pitch(case.rig, case.hertz)
    rest = judge.rest(judge.one(rig), 0.03)
    assert equilibrium(rig, start=0.03).tilt[0] == pytest.approx(rest.tilt, abs=TILT)


def test_the_start_decides_where_both_stops_are_minima() -> None:
    rng = np.random.default_rng(5)
    checked = 0
    for _ in range(60):
        case = random_case(rng, "soft springs")
        rig = at_pitch(case.rig, case.hertz)
        one = judge.one(rig)
        low, high = float(one["tilt_low"]), float(one["tilt_high"])
        if judge.slope(one, low) > 0.0 > judge.slope(one, high):
            assert equilibrium(rig, start=low).tilt[0] == low
            assert equilibrium(rig, start=high).tilt[0] == high
            checked += 1
    assert checked >= 5


def test_a_string_off_does_not_push_among_strings_held_at_pitch() -> None:
    """Once did, with minus pi2 EI / L2, as if held at zero hertz."""
    case = random_case(np.random.default_rng(2), "floating")
    hertz = case.hertz.copy()
    hertz[[1, 3]] = np.nan
    state = settled_at(at_pitch(case.rig, hertz), case.wanted)
    assert state.tension[0, [1, 3]].tolist() == [0.0, 0.0]
    assert (state.tension[0, [0, 2, 4, 5]] > 10.0).all()
