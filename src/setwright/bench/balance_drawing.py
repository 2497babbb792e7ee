"""Drawings of the balance of a job: its forces and moments, and how far the arm goes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from setwright.bench.standing import Banded, Bench, Standing, band
from setwright.instrument.geometry import LOWER_STOPS, UPPER_STOPS, build_rig, stops
from setwright.instrument.traits import Array
from setwright.physics.balance import Equilibrium, Rig, at_pitch, pegs_fixed, settled_at, swing, unstretched_lengths
from setwright.physics.balance.moments import moments, pack
from setwright.planning.bands import spread
from setwright.planning.plan import Plan
from setwright.sheets.ranges import Range, RangesSheet, Reach, draw_ranges
from setwright.sheets.triangle import Balance, BalanceSheet, Force, draw_balance
from setwright.units.pitch import note_name, note_number
from setwright.units.show import System, show_band, show_cents, show_force, show_length, show_turns

LEAST_FORCE = 1e-6  # N, below which nothing acts
LEAST_MOMENT = 0.01  # N m, finer is not told
STEP = 1 / 8  # turn
SEMITONE = 100.0  # cents
STOPS = ("body", "block")
DIGIT = {"mm": 1.0, "inch": 4.45}  # N, digits of a force
ARM = 1e-4  # m, digits of an arm


def balance_drawing(bench: Bench, plan: Plan, system: System) -> str:
    """Draw what acts on the plate, as found and after the plan.

    Args:
        bench: its states; the last one is the plan's end.
        plan: of the same job.
        system: "inch" or "mm".
    Returns: an SVG document.
    """
    after = bench.states[-1]
    before = bench.states[0] if len(bench.states) > 1 else None
    balance = balance_of(after, system)
    over = _left_over(after)
    turns = abs(over.half_width / _per_turn(after, float(bench.problem.wanted.claw.lead)))
    slot = None
    if bench.problem.targets.mode == "floating":
        rear = float(np.asarray(after.traits.bridge.rear_aft).reshape(-1)[0])
        slot = float(after.state.stiffness[0]) * bench.problem.targets.gap_tolerance / rear
    sheet = BalanceSheet(
        title=plan.title,
        instrument=plan.instrument,
        system=system,
        mirrored=bench.job.instrument.handed == "left",
        before=None if before is None else balance_of(before, system),
        after=balance,
        pivot_told=_force(math.hypot(*balance.pivot), system),
        left_half_width=over.half_width,
        slot=slot,
        left_told=_left_told(over, turns, slot),
    )
    return draw_balance(sheet)


def _left_told(over: Banded, turns: float, slot: float | None) -> str:
    half = max(over.half_width, LEAST_MOMENT)
    if abs(over.value) >= LEAST_MOMENT:
        what = f"Left over and taken up by a stop, the rear pressed {'down' if over.value < 0.0 else 'up'}"
    else:
        what = "Left over, claw and strings as planned"
    words = f"{what}: {abs(over.value):.2f} ± {half:.2f} N m"
    words += f"; the ± is as much as {show_turns(turns, STEP)} of both claw screws."
    if slot is None:
        return words
    return words + f" Slot: up to {slot:.2f} N m the rear gap stays inside its tolerance."


def _force(value: float, system: System) -> str:
    told = show_force(value, system, DIGIT[system])
    return told.replace(" lb", " lbf") if system == "inch" else told


def balance_of(one: Standing, system: System) -> Balance:
    """Forces on the plate of the most likely instrument in one state.

    Args:
        one: the state.
        system: "inch" or "mm".
    Returns: strings together, springs together, weight, and the stop on which the plate rests.
    """
    pulls = [*pulls_on(one.rig, one.state), _stop(one)]
    out = []
    for name, x, y, moment in pulls:
        size = math.hypot(float(x[0]), float(y[0]))
        if size < LEAST_FORCE:
            continue
        told = float(moment[0])
        arm = show_length(abs(told) / size, system, ARM)
        half = spread(moment[1:])
        words = f"{told:+.2f} ± {max(half, LEAST_MOMENT):.2f} N m".replace("-", "−")
        stop = name in STOPS
        out.append(Force(name, float(x[0]), float(y[0]), told, half, _force(size, system), arm, words, stop))
    return Balance(tuple(out))


def pulls_on(rig: Rig, state: Equilibrium) -> list[tuple[str, Array, Array, Array]]:
    """What pulls on the plate, stops aside.

    Args:
        rig: (B) rigs.
        state: (B) their state.
    Returns: of strings together, springs together and weight: name, pull along and up [N], moment about the pivot,
        lifting the rear > 0 [N m]; each (B).
    """
    tilt, bow = state.tilt, state.bow
    return [
        ("strings", *_strings(rig, tilt, bow, state.tension)),
        ("springs", *_springs(rig, tilt, bow)),
        ("weight", *_weight(rig, tilt)),
    ]


def _strings(rig: Rig, tilt: Array, bow: Array, tension: Array) -> tuple[Array, Array, Array]:
    """Pull of all strings on the plate along and up [N], and about the pivot [N m]; each (B)."""
    px, py = _turned(rig.saddle_aft, rig.saddle_up, tilt)
    gx, gy = (np.asarray(g).reshape(rig.batch, -1) for g in (rig.nut_x_per_bow, rig.nut_y_per_bow))
    dx, dy = rig.nut_x + bow[:, None] * gx - px, rig.nut_y + bow[:, None] * gy - py
    per = tension / np.sqrt(dx * dx + dy * dy + rig.aside**2)
    return _sum(per * dx, per * dy, px, py)


def _springs(rig: Rig, tilt: Array, bow: Array) -> tuple[Array, Array, Array]:
    """The same of all springs."""
    m = moments(pack(rig), tilt, bow)
    used = rig.present.any(axis=0)
    px, py = _turned(rig.hook_aft[:, used], rig.hook_up[:, used], tilt)
    dx, dy = rig.claw_x[:, used] - px, rig.claw_y[:, used] - py
    per = m.spring_force.T / np.sqrt(dx * dx + dy * dy + rig.slant[:, used] ** 2)
    return _sum(per * dx, per * dy, px, py)


def _weight(rig: Rig, tilt: Array) -> tuple[Array, Array, Array]:
    """The same of the plate's weight, as far as it lies in the plane of tilt."""
    px, py = _turned(rig.centre_aft[:, None], rig.centre_up[:, None], tilt)
    return _sum(rig.weight_x[:, None], rig.weight_y[:, None], px, py)


def _turned(aft: Array, up: Array, tilt: Array) -> tuple[Array, Array]:
    cos, sin = np.cos(tilt)[:, None], np.sin(tilt)[:, None]
    return aft * cos - up * sin, aft * sin + up * cos


def _sum(x: Array, y: Array, px: Array, py: Array) -> tuple[Array, Array, Array]:
    return x.sum(axis=1), y.sum(axis=1), (px * y - py * x).sum(axis=1)


def _stop(one: Standing) -> tuple[str, Array, Array, Array]:
    """Push of the stop on which the plate rests: what its contact makes of that stop's own place and direction."""
    contact, tilt = one.state.contact, one.state.tilt
    lower, upper = stops(one.traits, one.settings)
    pressing = float(contact[0]) > 0.0
    values = [float(np.asarray(v).reshape(-1)[0]) for v in (lower if pressing else upper)]
    name = LOWER_STOPS[int(np.argmax(values))] if pressing else UPPER_STOPS[int(np.argmin(values))]
    b = one.traits.bridge
    point, way = (b.rear_aft, b.rear_up), (0.0, 1.0)
    if name.startswith("front edge"):
        point = (b.front_aft, b.front_up)
    elif name.startswith("block at the front"):
        point, way = (b.block_fore_point[..., 0], b.block_fore_point[..., 1]), (1.0, 0.0)
    elif name.startswith("block at the rear"):
        point, way = (b.block_aft_point[..., 0], b.block_aft_point[..., 1]), (-1.0, 0.0)
    cos, sin = np.cos(tilt), np.sin(tilt)
    px, py = point[0] * cos - point[1] * sin, point[0] * sin + point[1] * cos
    size = contact / (px * way[1] - py * way[0])
    if abs(float(size[0])) < 1e-3:
        size = np.zeros_like(contact)
    return (
        ("block" if name.startswith("block") else "body"),
        size * way[0],
        size * way[1],
        size * (px * way[1] - py * way[0]),
    )


def _left_over(one: Standing) -> Banded:
    """What claw and strings as planned leave over, lifting > 0, on every instrument this one may be [N m]."""
    return band(-_contact(one, 0.0))


def _contact(one: Standing, further: float) -> Array:
    """Moment that holds the plate where it stands with the most likely instrument's claw, `further` [m] out."""
    settings = replace(one.settings, claw=np.broadcast_to(one.settings.claw[:1] + further, one.settings.claw.shape))
    return np.asarray(settled_at(at_pitch(build_rig(one.traits, settings), one.hertz), one.state.tilt).contact)


def _per_turn(one: Standing, lead: float) -> float:
    """Moment that a turn of both claw screws is worth [N m]."""
    return float((_contact(one, STEP * lead) - _contact(one, 0.0))[0]) / STEP


def ranges_drawing(bench: Bench, plan: Plan, system: System) -> str:
    """Draw how far the arm moves every string.

    Args:
        bench: its states; the last one is the plan's end.
        plan: of the same job.
        system: "inch" or "mm", for the names of stops alone.
    Returns: an SVG document.
    """
    after = bench.states[-1]
    before = bench.states[0] if len(bench.states) > 1 else None
    now, was = reaches(after), None if before is None else reaches(before)
    wish = bench.problem.targets.up_bend
    out = []
    for s, (down, up) in enumerate(now):
        reach = _reach(down, up)
        least = None
        if wish is not None and wish.string == s:
            least = (wish.cents - bench.problem.targets.up_bend_tolerance) / SEMITONE
        first = None if was is None else _reach(*was[s])
        met = least is not None and reach.up - reach.up_half >= least
        verdict = "" if least is None else "in its slot" if met else "not surely in" if reach.up >= least else "outside"
        name = f"{s + 1}  {note_name(round(note_number(float(after.hertz[s]))))}"
        out.append(Range(name, first, reach, _told("down", down), _told("up", up), least, verdict, met))
    told = [_stops_of(after)] if before is None else [_stops_of(before), _stops_of(after)]
    words = ("As found: ", "After the work: ")[-len(told) :] if len(set(told)) == len(told) else ("Before and after: ",)
    stops_told = tuple(f"{word}{one}." for word, one in zip(words, told[: len(words)], strict=True))
    return draw_ranges(RangesSheet(plan.title, plan.instrument, tuple(out), stops_told))


def reaches(one: Standing) -> list[tuple[Banded, Banded]]:
    """Dive and up-bend of every string, pegs left alone.

    Args:
        one: the state.
    Returns: down and up of each string [cents]; minus infinity where it goes slack.
    """
    rig = pegs_fixed(one.rig, unstretched_lengths(one.rig, one.state))
    reach = swing(rig, one.state)
    return [(band(reach.down[:, s]), band(reach.up[:, s])) for s in range(reach.up.shape[1])]


def _reach(down: Banded, up: Banded) -> Reach:
    return Reach(
        down.value / SEMITONE,
        down.half_width / SEMITONE if math.isfinite(down.value) else 0.0,
        max(up.value, 0.0) / SEMITONE,
        up.half_width / SEMITONE,
    )


def _told(way: str, one: Banded) -> str:
    if not math.isfinite(one.value):
        return f"{way} until slack"
    if abs(one.value) < 0.5 and one.half_width < 0.5:
        return f"{way}: not at all"
    if one.half_width < 0.1:
        return f"{way} {show_cents(abs(one.value), 1.0)}"
    return f"{way} {show_band(abs(one.value), max(one.half_width, 1.0), 'cents')}"


def _stops_of(one: Standing) -> str:
    """What ends the plate's way in one state."""
    lower, upper = ([float(np.asarray(v).reshape(-1)[0]) for v in side] for side in stops(one.traits, one.settings))
    low, high = LOWER_STOPS[int(np.argmax(lower))], UPPER_STOPS[int(np.argmin(upper))]
    return f"up until {_phrase(low)}, down until {_phrase(high)}"


def _phrase(name: str) -> str:
    """A stop as the place where the plate's way ends."""
    if name == "blocked":
        return "the block that holds the plate"
    if name.startswith("block at"):
        return "the block meets" + name.removeprefix("block at")
    return "the " + name.replace(" on the ", " meets the ").replace(" under the ", " meets the ")
