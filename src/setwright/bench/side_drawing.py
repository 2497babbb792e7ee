"""The side view of a job: what the model says of neck, bridge and cavity, put into a drawing's terms."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from setwright.bench.side_measures import beside, bow, details, turns_of
from setwright.bench.standing import Bench, Standing
from setwright.instrument.geometry import (
    board_height,
    claw_axis,
    crowns,
    neck_angle,
    neck_point,
    nut_contact,
    pivot_line,
    saddle_contact,
)
from setwright.instrument.traits import Array, Traits
from setwright.physics.frets import fret_position
from setwright.planning.plan import Plan
from setwright.sheets.dimensions import WIDTH
from setwright.sheets.side_bridge import Body, Cord, Posture
from setwright.sheets.side_view import SideSheet, draw_side
from setwright.units.show import System, show_angle, show_length

STEPS = 24  # places along the neck between which its line is drawn straight
DEEPER = 0.006  # m of cavity wall drawn under the block
Point = tuple[float, float]


def side_drawing(bench: Bench, plan: Plan, system: System, width: float = WIDTH) -> str:
    """Draw the instrument from the side, as found and after the plan.

    Args:
        bench: its states; the last one is the plan's end.
        plan: of the same job.
        system: "inch" or "mm".
        width: of the paper [mm].
    Returns: an SVG document.
    """
    after = bench.states[-1]
    before = bench.states[0] if len(bench.states) > 1 else None
    traits, board = after.traits, bench.problem.traits.fretboard
    fret = bench.problem.targets.height_fret
    scale = float(board.scale)
    crown = crowns(traits, after.settings, after.state.tilt, after.state.bow, (fret,))
    sheet = SideSheet(
        title=plan.title,
        instrument=plan.instrument,
        system=system,
        mirrored=bench.job.instrument.handed == "left",
        scale=scale,
        scale_told=f"scale {show_length(scale, system)}",
        fret=(float(_one(crown[0])[0, 0]), float(_one(crown[1])[0, 0])),
        fret_told=f"fret {fret}",
        angle_told=_angles(before, after),
        body=body(after),
        before=None if before is None else posture(before),
        after=posture(after),
        beside=beside(bench, plan, before, after, system),
        bow=bow(bench, plan, before, after, system),
        details=details(bench, plan, before, after, system),
        turns=turns_of(bench, plan, system),
    )
    return draw_side(sheet, width)


def _one(values: Array) -> Array:
    """The most likely instrument's part of something that may carry a batch axis of 2 or 3 dimensions less one."""
    return np.asarray(values[0], dtype=np.float64)


def _points(x: Array, y: Array) -> tuple[Point, ...]:
    return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))


def _first(value: Array) -> float:
    """The most likely instrument's part of a scalar."""
    return float(np.asarray(value).reshape(-1)[0])


def _row(value: Array, count: int) -> Array:
    """The most likely instrument's part of (count) or (B, count)."""
    return np.asarray(np.asarray(value).reshape(-1, count)[0], dtype=np.float64)


def posture(one: Standing) -> Posture:
    """Neck, strings, plate and claw of the most likely instrument in one state.

    Args:
        one: the state.
    Returns: them, in the frame of the body [m].
    """
    traits, settings, state, b = one.traits, one.settings, one.state, one.traits.bridge
    count = traits.string_count
    end = float(np.max(fret_position(_first(traits.fretboard.scale), traits.fretboard.frets)))
    x = np.linspace(0.0, end, STEPS)
    board = neck_point(traits, settings, x, board_height(traits, x, np.zeros_like(x)), state.bow)
    mouth, pocket = _first(traits.neck.mouth_x), _first(traits.neck.pocket)
    floor = _first(traits.neck.mouth_y)
    heel_x = np.array([mouth, mouth + pocket])
    heel = neck_point(traits, settings, heel_x, np.full(2, floor), np.zeros_like(state.bow))
    nut, saddle = nut_contact(traits, settings, state.bow), saddle_contact(traits, settings, state.tilt)
    tilt, px = float(state.tilt[0]), _first(b.pivot_x)
    middle = float(np.asarray(pivot_line(traits, settings, b.rear_z)).reshape(-1, 2)[0].mean())
    at_string = _row(pivot_line(traits, settings, b.saddle_z), count)

    def turned(aft: float, up: float, line: float = middle) -> Point:
        cos, sin = float(np.cos(tilt)), float(np.sin(tilt))
        return px + aft * cos - up * sin, line + aft * sin + up * cos

    low, rear = (_first(b.front_aft), _first(b.front_up)), (_first(b.rear_aft), _first(b.rear_up))
    top = max(0.0, low[1], rear[1])
    plate = [turned(*low), turned(*rear)]
    if top > min(low[1], rear[1]):
        plate += [turned(rear[0], top), turned(low[0], top)]
    cords = []
    for s in (0, count - 1):
        aft = float(_row(b.saddle_aft, count)[s] + _row(settings.saddle_back, count)[s])
        anchor = float(_row(b.anchor_aft, count)[s]), float(_row(b.anchor_up, count)[s])
        cords.append(
            Cord(
                f"string {s + 1}",
                (float(_one(nut[0])[s]), float(_one(nut[1])[s])),
                (float(_one(saddle[0])[s]), float(_one(saddle[1])[s])),
                turned(aft, top, float(at_string[s])),
                turned(*anchor, float(at_string[s])),
            )
        )
    knife = b.knife_edge
    return Posture(
        board=_points(_one(board[0]), _one(board[1])),
        heel=_heel(_one(board[0])[-1], _one(board[1])[-1], _one(heel[0]), _one(heel[1])),
        strings=tuple(cords),
        pivot=(px, middle),
        plate=tuple(plate),
        block=_block(b.block_fore_point, b.block_aft_point, min(low[1], rear[1]), turned) if knife else (),
        hook=turned(_first(traits.springs.hook_aft), _first(traits.springs.hook_up)) if knife else None,
        claw=_claw(traits, float(one.settings.claw[0].mean())) if knife else None,
        springs_told=_springs_told(one) if knife else "",
    )


def _heel(end_x: float, end_y: float, floor_x: Array, floor_y: Array) -> tuple[Point, ...]:
    """From the end of the board down to the floor of the neck in its pocket, and along it to the mouth."""
    return (float(end_x), float(end_y)), *reversed(_points(floor_x, floor_y))


def _block(fore: Array, aft: Array, under: float, turned: Callable[[float, float], Point]) -> tuple[Point, ...]:
    """The block from the plate down: its two lower points are those that meet the cavity's walls."""
    (fore_aft, fore_up), (rear_aft, rear_up) = (np.asarray(one).reshape(-1, 2)[0].tolist() for one in (fore, aft))
    return turned(fore_aft, under), turned(fore_aft, fore_up), turned(rear_aft, rear_up), turned(rear_aft, under)


def _claw(traits: Traits, distance: float) -> Point:
    """The hook line at a distance from its wall."""
    along, up = (_first(one) for one in claw_axis(traits))
    return _first(traits.claw.wall_x) + distance * along, _first(traits.claw.y) + distance * up


def _springs_told(one: Standing) -> str:
    """How many springs hang."""
    count = int(_row(one.settings.springs, one.traits.springs.hook_z.shape[-1]).sum())
    return "1 spring" if count == 1 else f"{count} springs"


def body(after: Standing) -> Body:
    """What stays where it is: pocket, cavity, wall of the claw.

    Args:
        after: one state.
    Returns: them, in the frame of the body [m].
    """
    traits, b, neck = after.traits, after.traits.bridge, after.traits.neck
    mouth, floor, pocket = (_first(one) for one in (neck.mouth_x, neck.mouth_y, neck.pocket))
    px, knife = _first(b.pivot_x), b.knife_edge
    points = [np.asarray(one).reshape(-1, 2)[0] for one in (b.block_fore_point, b.block_aft_point)]
    travel = np.asarray(traits.claw.travel).reshape(-1, 2)[0]
    return Body(
        mouth=(mouth, floor),
        pocket=((mouth, floor), (mouth + pocket, floor), (mouth + pocket, 0.0)),
        opening=(px + _first(b.cavity_fore), px + _first(b.cavity_aft)) if knife else None,
        depth=min(float(one[1]) for one in points) - DEEPER,
        deck=_first(b.deck_y),
        wall=(_first(traits.claw.wall_x), _first(traits.claw.y)) if knife else None,
        travel=(_claw(traits, float(travel[0])), _claw(traits, float(travel[1]))) if knife else None,
    )


def _angles(before: Standing | None, after: Standing) -> str:
    """Angle of the neck, as found and after."""
    now = show_angle(_first(neck_angle(after.traits, after.settings)))
    if before is None:
        return f"Neck angle {now}."
    was = show_angle(_first(neck_angle(before.traits, before.settings)))
    return f"Neck angle {now}, as found." if was == now else f"Neck angle: found {was}, after {now}."
