"""Dimensions, details and turns of the side view: what is measured of both states, with bands, slots and words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from setwright.bench.standing import Banded, Bench, Standing, band
from setwright.instrument.geometry import board_height, edge_gap, neck_point, pivot_line, saddle_contact
from setwright.instrument.predict import relief, string_heights
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array
from setwright.physics.frets import fret_position
from setwright.planning.bands import spread
from setwright.planning.plan import Plan, TargetLine
from setwright.sheets.details import Detail, Level
from setwright.sheets.side_bridge import Beside, Turn
from setwright.sheets.side_view import Bow
from setwright.units.show import System, show_band, show_length, show_turns
from setwright.units.tables import unit_size

COVER = 1.96  # standard uncertainties in a half width that holds 95 of 100
LEAST = {"mm": 1e-5, "inch": unit_size("length", "thou")}  # m, finer bands are not told
RULED = {"mm": 5e-5, "inch": unit_size("length", "in") / 1000}  # m, digits of a length without a band
STEP = 1 / 8  # turn
LEFT_ALONE = 1 / 16  # turn, less than that no hand turns
SHIMS = ("strip", "wedge", "flat")
SIDES = ("treble", "bass")
USUAL_RELIEF = (1, 8, 17)


def told(one: Banded, system: System) -> str:
    """A length with its band where it has one.

    Args:
        one: [m].
        system: "inch" or "mm".
    Returns: e.g. "2.60 ± 0.04 mm", ".030 in".
    """
    least = LEAST[system]
    if one.half_width < 0.1 * least:
        return show_length(one.value, system, RULED[system], style="thou" if system == "inch" else "mm")
    return show_band(one.value, least * math.ceil(round(one.half_width / least, 6)), "length", system)


def _states(was: Banded | None, now: Banded, system: System) -> tuple[str, str]:
    """As found, where that is known, and after, in words."""
    return "" if was is None else told(was, system), told(now, system)


def _line(plan: Plan, quantity: str, place: str = "") -> TargetLine | None:
    return next((one for one in plan.best.targets if (one.quantity, one.place) == (quantity, place)), None)


def _planned(line: TargetLine | None, seen: Banded) -> Banded:
    """What the plan says of the end; where it says nothing, what the states show."""
    return seen if line is None else Banded(line.predicted, line.half_width)


def _slot(line: TargetLine | None) -> tuple[float, float] | None:
    if line is None or line.wanted is None or line.tolerance is None:
        return None
    return line.wanted - line.tolerance, line.wanted + line.tolerance


def _slot_told(line: TargetLine | None, system: System) -> str:
    if line is None or line.wanted is None or not line.tolerance:
        return ""
    return show_band(line.wanted, line.tolerance, "length", system)


def _gap(one: Standing) -> Banded:
    return band(np.asarray(edge_gap(one.traits, one.settings, one.state.tilt)).mean(axis=-1))


def _claw_found(bench: Bench, before: Standing) -> Banded:
    """The claw as it was read; where nobody read it, where the model has it."""
    read = bench.job.found.claw_distance
    if read is None:
        return band(before.settings.claw.mean(axis=-1))
    return Banded(0.5 * (read[0].si + read[1].si), COVER * 0.5 * (read[0].band + read[1].band))


def beside(bench: Bench, plan: Plan, before: Standing | None, after: Standing, system: System) -> tuple[Beside, ...]:
    """Dimensions of the bridge.

    Args:
        bench: its states.
        plan: of the same job.
        before: as found, or None.
        after: at the plan's end.
        system: "inch" or "mm".
    Returns: strings over the body top at their saddles; of a knife edge also rear gap, pivots and claw.
    """
    count = after.traits.string_count
    both = [
        None if one is None else saddle_contact(one.traits, one.settings, one.state.tilt) for one in (before, after)
    ]
    now = both[1]
    assert now is not None
    out = []
    for s in (0, count - 1):
        was = None if both[0] is None else band(both[0][1][:, s])
        one = band(now[1][:, s])
        x = float(now[0][0, s])
        out.append(
            Beside(f"string {s + 1}", *_states(was, one, system), "up", (x, 0.0), (x, one.value), one.half_width)
        )
    if after.traits.bridge.knife_edge:
        out += _of_the_plate(bench, plan, before, after, system)
    return tuple(out)


def _of_the_plate(bench: Bench, plan: Plan, before: Standing | None, after: Standing, system: System) -> list[Beside]:
    """Rear gap, pivots, claw."""
    b = after.traits.bridge
    gap = _planned(_line(plan, "rear gap"), _gap(after))
    tilt = float(after.state.tilt[0])
    aft, up = (float(np.asarray(v).reshape(-1)[0]) for v in (b.rear_aft, b.rear_up))
    px = float(np.asarray(b.pivot_x).reshape(-1)[0])
    rear = px + aft * math.cos(tilt) - up * math.sin(tilt)
    pivots = [None if one is None else _pivots(one) for one in (before, after)]
    assert pivots[1] is not None
    words = _states(pivots[0], pivots[1], system)
    top = (px, pivots[1].value)
    out = [Beside("pivot", *words, "up", (px, 0.0), top, pivots[1].half_width)]
    claw = after.settings.claw.mean(axis=-1)
    settled = Banded(float(claw[0]), spread(claw[1:]))
    found = None if before is None else _claw_found(bench, before)
    wall = tuple(float(np.asarray(v).reshape(-1)[0]) for v in (after.traits.claw.wall_x, after.traits.claw.y))
    angle = float(np.asarray(after.traits.claw.angle).reshape(-1)[0])
    end = wall[0] + settled.value * math.cos(angle), wall[1] + settled.value * math.sin(angle)
    words = _states(found, settled, system)
    out.append(Beside("claw", *words, "claw", (wall[0], wall[1]), end, settled.half_width))
    if gap.value < LEAST["mm"]:
        return out
    return [*out, Beside("rear gap", "", "", "up", (rear, 0.0), (rear, gap.value), gap.half_width)]


def _pivots(one: Standing) -> Banded:
    """Pivot line half way between its two screws."""
    line = np.asarray(pivot_line(one.traits, one.settings, one.traits.bridge.rear_z)).mean(axis=-1)
    return band(np.broadcast_to(line, one.state.tilt.shape))


def details(bench: Bench, plan: Plan, before: Standing | None, after: Standing, system: System) -> tuple[Detail, ...]:
    """What is too small to see at the scale of the bridge.

    Args:
        bench: its states.
        plan: of the same job.
        before: as found, or None.
        after: at the plan's end.
        system: "inch" or "mm".
    Returns: rear gap of a knife edge, string heights, shims.
    """
    out = []
    if after.traits.bridge.knife_edge:
        line = _line(plan, "rear gap")
        seen = _gap(after)
        name = "over body top" if seen.value < LEAST["mm"] else "e  over body top"
        level = _level(name, line, None if before is None else _gap(before), seen, system)
        rests = bench.problem.targets.mode in ("decked", "dive-only") and after.state.contact[0] > 0.0
        out.append(Detail("Rear gap", (replace(level, stop="on its stop" if rests else ""),)))
    fret = bench.problem.targets.height_fret
    heights = [None if one is None else _heights(one, fret) for one in (before, after)]
    assert heights[1] is not None
    levels = []
    for s in (0, len(heights[1]) - 1):
        line = _line(plan, "string height", f"string {s + 1} at fret {fret}")
        was = None if heights[0] is None else heights[0][s]
        levels.append(_level(f"string {s + 1}", line, was, heights[1][s], system))
    out.append(Detail(f"Strings over fret {fret}", tuple(levels)))
    shims = _shims(bench, plan, before is not None, system)
    return (*out, Detail("Shim", shims)) if shims else tuple(out)


def _level(name: str, line: TargetLine | None, was: Banded | None, seen: Banded, system: System) -> Level:
    now = _planned(line, seen)
    return Level(
        name=name,
        was=None if was is None else was.value,
        now=now.value,
        half_width=now.half_width,
        slot=_slot(line),
        was_told="" if was is None else told(was, system),
        now_told=told(now, system),
        slot_told=_slot_told(line, system),
    )


def _heights(one: Standing, fret: int) -> list[Banded]:
    heights = string_heights(one.traits, one.settings, one.state.tilt, one.state.bow, (fret,))[..., 0]
    return [band(heights[:, s]) for s in range(heights.shape[1])]


def _shims(bench: Bench, plan: Plan, found: bool, system: System) -> tuple[Level, ...]:
    """Shims by kind, where there is or was any."""
    start, end = bench.problem.found.settings, plan.best.end.settings
    out = []
    for kind, was, now in zip(SHIMS, _thicknesses(start), _thicknesses(end), strict=True):
        if was == now == 0.0:
            continue
        known = [one.thickness.band for one in (*bench.job.found.shims, *bench.job.shop.shims) if one.kind == kind]
        one = Banded(now, COVER * max(known, default=0.0) if now else 0.0)
        words = told(Banded(was, 0.0), system) if found else ""
        out.append(
            Level(
                f"{kind}, thick end" if kind == "wedge" else kind,
                was if found else None,
                now,
                one.half_width,
                None,
                words,
                told(one, system),
                "",
            )
        )
    return tuple(out)


def _thicknesses(settings: Settings) -> tuple[float, float, float]:
    return float(settings.strip), float(settings.wedge_shim), float(settings.flat)


def bow(bench: Bench, plan: Plan, before: Standing | None, after: Standing, system: System) -> Bow:
    """The neck's bow under its strings, by itself.

    Args:
        bench: its states.
        plan: of the same job.
        before: as found, or None.
        after: at the plan's end.
        system: "inch" or "mm".
    Returns: crowns over the line from the first to the last, and the relief in words.
    """
    read = bench.job.found.relief or bench.job.want.relief
    way = USUAL_RELIEF if read is None else (read.hold[0], read.read, read.hold[1])
    first, then = _reliefs(bench, plan, before, after, way)
    x, now = _crowns(after)
    was = None if before is None else _crowns(before)[1][0]
    known = (
        then.half_width / abs(then.value) if then.value else 0.0
    )  # crowns rise and fall with the bow, as relief does
    was_told, now_told = _states(first, then, system)
    words = f"found {was_told}, after {now_told}" if was_told else f"after {now_told}"
    return Bow(
        before=() if was is None else tuple(zip(x.tolist(), was.tolist(), strict=True)),
        after=tuple(zip(x.tolist(), now[0].tolist(), strict=True)),
        half_width=tuple((known * np.abs(now[0])).tolist()),
        words=f"Relief, fret {way[1]} with {way[0]} and {way[2]} held: {words}.",
    )


def _reliefs(
    bench: Bench, plan: Plan, before: Standing | None, after: Standing, way: tuple[int, int, int]
) -> tuple[Banded | None, Banded]:
    """Relief as found, with the band of its reading where there is one, and after: as found and what has changed."""
    low, at, high = way
    read = bench.job.found.relief
    now = relief(after.traits, after.state.bow, low, at, high)
    if before is None:
        return None, band(now)
    was = relief(before.traits, before.state.bow, low, at, high)
    line = _line(plan, "relief", f"fret {at}, held at {low} and {high}")
    if read is None:
        return band(was), _planned(line, band(now))
    own = COVER * read.value.band
    left = Banded(float(now[0]), math.hypot(own, spread(now[1:] - was[1:])))
    return Banded(float(was[0]), own), _planned(line, left)


def _crowns(one: Standing) -> tuple[Array, Array]:
    """Places of the frets (N), heights (B, N) over the line from the first to the last [m]."""
    board = one.traits.fretboard
    scale = float(np.asarray(board.scale).reshape(-1)[0])
    x = np.asarray(fret_position(scale, np.arange(1, board.frets + 1)))
    y = board_height(one.traits, x, np.zeros_like(x))
    along, up = neck_point(one.traits, one.settings, x, y, one.state.bow)
    share = (along - along[:, :1]) / (along[:, -1:] - along[:, :1])
    level = up - up[:, :1] - share * (up[:, -1:] - up[:, :1])
    return along[0], level + np.zeros((len(one.state.bow), 1))


def turns_of(bench: Bench, plan: Plan, system: System) -> tuple[Turn, ...]:
    """Every screw that stands elsewhere in the end than as found, and every part laid in or taken out.

    Args:
        bench: its states.
        plan: of the same job.
        system: "inch" or "mm".
    Returns: in the order of the work.
    """
    start, end, traits = bench.problem.found.settings, plan.best.end.settings, bench.problem.wanted
    b, out = traits.bridge, []
    for kind, was, now in zip(SHIMS, _thicknesses(start), _thicknesses(end), strict=True):
        if was != now:
            way, size = ("in", now - was) if now > was else ("out", was - now)
            size_told = told(Banded(size, 0.0), system)
            out.append(Turn("shim", f"{kind} shim {way}: {size_told}", size_told, way))
    out += _turned("truss rod", "rod", float(end.rod - start.rod), ("tighter", "looser"))
    if b.knife_edge:
        if np.any(start.springs != end.springs):
            words = f"springs: {int(start.springs.sum())} found, {int(end.springs.sum())} after"
            out.append(Turn("springs", words, words, ""))
        out += _pair("pivot", (end.pivot_rise - start.pivot_rise) / float(b.pivot_lead), ("up", "down"))
    rises = (end.saddle_rise - start.saddle_rise) / float(b.height_lead)
    drawn = {0: 0, len(rises) - 1: 1}
    for s, turns in enumerate(rises):
        out += _turned(f"saddle {s + 1}", "saddle", float(turns), ("up", "down"), drawn.get(s, -1))
    for s, turns in enumerate((end.saddle_back - start.saddle_back) / float(b.length_lead)):
        out += _turned(f"saddle {s + 1}", "length", float(turns), ("back", "forward"))
    if b.knife_edge:
        lead = float(traits.claw.lead)
        loose = spread(bench.states[-1].settings.claw.mean(axis=-1)[1:]) / lead
        out += _pair("claw", (start.claw - end.claw) / lead, ("in", "out"), loose)
    return tuple(out)


def _pair(what: str, turns: Array, ways: tuple[str, str], half: float = 0.0) -> list[Turn]:
    """Two screws of a pair: told together where they turn alike."""
    if abs(turns[0] - turns[1]) < LEFT_ALONE:
        return _turned("pivots" if what == "pivot" else what, what, float(turns.mean()), ways, half=half)
    return [
        turn
        for side, one in zip(SIDES, turns, strict=True)
        for turn in _turned(f"{side} {what} screw", what, float(one), ways, half=half)
    ]


def _turned(
    name: str, what: str, turns: float, ways: tuple[str, str], string: int = -1, half: float = 0.0
) -> list[Turn]:
    """A screw's turn with its band, where that is as wide as what a hand sets."""
    if abs(turns) < LEFT_ALONE:
        return []
    way = ways[0] if turns > 0.0 else ways[1]
    amount = show_turns(abs(turns), STEP)
    if half >= STEP:
        band_told = show_turns(math.ceil(round(half / STEP, 6)) * STEP, STEP)
        amount = f"{amount.rsplit(' ', 1)[0]} ± {band_told}"
    short = f"{way} {amount}"
    return [Turn(what, f"{name} {short}", f"{name} {short}" if string >= 0 else short, way, string)]
