"""Where the plate of the practice instrument comes to rest, with friction and history. Plain floats; derived here.

Three coordinates: tilt of the plate (rear edge up > 0), bow of the neck, and its sideways turn. The plate's edge is
round and rolls on its post, so that the pivot climbs by radius times tilt. Forces are the slopes of

    U = strings + springs - weight . centre + N bow^2 / 2 + rod bow + K side^2 / 2.

The neck always settles; the plate moves only while the moment on it exceeds the knife edge's friction, and comes to
rest where it just does. A string that slid over the nut stays where it slid to.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, hypot, sin, sqrt
from typing import NamedTuple

from setwright.errors import RangeError
from setwright.practice.body import Body, Plate
from setwright.practice.strings import hertz, pull

GRAVITY = 9.80665  # m/s2, standard (ISO 80000-3)
DOWN = {"playing": (0.0, 0.0), "flat": (0.0, -1.0), "upright": (1.0, 0.0), "face_down": (0.0, 1.0)}
STRIDE = 0.01  # rad, longest step of the search
BOW_SETTLED = 1e-6  # 1/m, last step: what is left is of the order of its square
TILT_SETTLED = 2e-7  # rad
SEAT_SHARE = 0.01  # of a spring's change of length, by which its hook shifts in its seat


@dataclass(frozen=True, slots=True)
class State:
    """All that a hand has set, and all that the instrument remembers."""

    whole: tuple[float, ...]  # m, unstretched string from peg to end
    main: tuple[float, ...]  # m, of that beyond the nut
    claw: float  # m, true distance of the hook line to the wall
    hung: tuple[int, ...]  # place of every spring that hangs, by its number
    seat: tuple[float, ...]  # m, shift of the hook in every place
    wedge: float | None  # m, gap at which a wedge props the rear edge
    attitude: str
    warm: float  # K, over the reference
    tilt: float  # rad
    bow: float  # 1/m
    side: float  # rad


@dataclass(frozen=True, slots=True)
class Rest:
    """The instrument at rest."""

    state: State
    tension: tuple[float, ...]  # N
    hertz: tuple[float, ...]  # Hz, 0 = slack
    contact: float  # N m with which a stop bears; > 0 on a lower, < 0 on an upper one; 0 = free
    at_stop: bool


class Slopes(NamedTuple):
    """First and second derivatives of the energy by tilt t, bow b and side s."""

    t: float
    b: float
    s: float
    tt: float
    tb: float
    ts: float
    bb: float
    bs: float
    ss: float

    def neck_step(self) -> tuple[float, float]:
        """Newton's step of bow and side at this tilt."""
        det = self.bb * self.ss - self.bs * self.bs
        return (self.bs * self.s - self.ss * self.b) / det, (self.bs * self.b - self.bb * self.s) / det

    def neck_follows(self) -> tuple[float, float]:
        """Change of bow and side by tilt while the neck settles."""
        det = self.bb * self.ss - self.bs * self.bs
        return (self.bs * self.ts - self.ss * self.tb) / det, (self.bs * self.tb - self.bb * self.ts) / det

    def condensed(self) -> tuple[float, float]:
        """Moment and stiffness of the plate with the neck settled."""
        db, ds = self.neck_step()
        fb, fs = self.neck_follows()
        return self.t + self.tb * db + self.ts * ds, self.tt + self.tb * fb + self.ts * fs


def gap_at(plate: Plate, tilt: float, end: int | None = None) -> float:
    """Gap between body top and rear edge.

    Args:
        plate: the plate.
        tilt: [rad].
        end: 0 or 1, None for the mean of both ends [1].
    Returns: [m].
    """
    line = 0.5 * (plate.rear_line[0] + plate.rear_line[1]) if end is None else plate.rear_line[end]
    return line + plate.edge * tilt + plate.rear[0] * sin(tilt) + plate.rear[1] * cos(tilt)


def tilt_at(plate: Plate, gap: float, end: int | None = None) -> float:
    """Tilt at which the rear edge stands at a gap: the inverse of `gap_at`.

    Args:
        plate: the plate.
        gap: [m].
        end: 0 or 1, None for the mean of both ends [1].
    Returns: [rad].
    Raises: RangeError where the edge cannot get there.
    """
    tilt = 0.0
    for _ in range(30):
        slope = plate.edge + plate.rear[0] * cos(tilt) - plate.rear[1] * sin(tilt)
        step = (gap - gap_at(plate, tilt, end)) / slope
        tilt += max(-0.2, min(0.2, step))
        if abs(step) < 1e-13:
            return tilt
    raise RangeError(f"the rear edge cannot stand {gap * 1000:.2f} mm over the body; give a gap the plate can reach.")


def _wall(point: tuple[float, float], wall: float) -> float:
    """Tilt at which a point of the block meets a wall: aft cos - up sin = wall."""
    reach = hypot(*point)
    return asin(max(-1.0, min(1.0, wall / reach))) - atan2(point[0], -point[1])


def stops(plate: Plate, wedge: float | None) -> tuple[float, float]:
    """Lowest and highest tilt. A wedge thicker than the room goes in as far as the upper stop.

    Args:
        plate: the plate.
        wedge: gap at which it props, None without [m].
    Returns: two tilts [rad].
    """
    high = _wall(plate.block_aft, plate.wall_aft)
    deck = max(tilt_at(plate, plate.deck, end) for end in (0, 1))
    low = max(deck, _wall(plate.block_fore, plate.wall_fore))
    if wedge is not None:
        low = max(low, min(high, tilt_at(plate, wedge)))
    return low, high


class Stage:
    """Everything that stays as it is while the plate finds its rest."""

    __slots__ = ("body", "coils", "high", "low", "pushed", "state", "stem", "weight", "wires")

    def __init__(self, body: Body, state: State) -> None:
        plate, warmth = body.plate, body.warmth
        soft, grown = 1.0 - warmth.soft * state.warm, 1.0 + warmth.string * state.warm
        wood = 1.0 + warmth.body * state.warm
        self.body, self.state, self.stem = body, state, body.stem
        natural = body.stem.natural
        self.wires = [
            (w, w.axial * soft, whole * grown, main * grown,
             (w.nut_x - plate.pivot_x) * wood + natural[0], w.nut_y - w.pivot_y + natural[1])
            for w, whole, main in zip(body.wires, state.whole, state.main, strict=True)
        ]  # fmt: skip
        x = plate.claw_x - plate.pivot_x + state.claw * cos(plate.claw_angle)
        y = plate.claw_y + state.claw * sin(plate.claw_angle)
        self.coils = [
            (p.aft, p.up, x, y - p.pivot_y, p.aside * p.aside, c.rate * soft, c.initial * soft,
             c.free + state.seat[i], c.closed_rate * soft)
            for i, p, c in ((i, body.places[i], body.coils[n]) for n, i in enumerate(state.hung))
        ]  # fmt: skip
        down = DOWN[state.attitude]
        self.weight = (plate.mass * GRAVITY * down[0], plate.mass * GRAVITY * down[1])
        self.low, self.high = stops(plate, state.wedge)

    def pulls(self, tilt: float, bow: float, side: float) -> list[tuple[float, float, float]]:
        """Tension [N], sounding length [m] and unstretched string beyond the nut, at the room's warmth [m]."""
        c, s = cos(tilt), sin(tilt)
        stem, climb = self.stem, self.body.plate.edge * tilt
        out = []
        for w, axial, whole, main, nut_x, nut_y in self.wires:
            dx = nut_x + bow * stem.rise[0] + side * w.nut_z - w.aft * c + w.up * s
            dy = nut_y + bow * stem.rise[1] + side * stem.twist * w.nut_z - climb - w.aft * s - w.up * c
            length = sqrt(dx * dx + dy * dy + w.aside * w.aside)
            tension, _, kept = pull(w, axial, length + w.tail, whole, main)
            out.append((tension, length, kept))
        return out

    def spans(self, tilt: float) -> list[float]:
        """Length of every spring that hangs, hook to hook [m]."""
        c, s, climb = cos(tilt), sin(tilt), self.body.plate.edge * tilt
        return [
            sqrt((x - aft * c + up * s) ** 2 + (y - climb - aft * s - up * c) ** 2 + aside2)
            for aft, up, x, y, aside2, *_ in self.coils
        ]


def slopes(stage: Stage, tilt: float, bow: float, side: float) -> Slopes:
    """Derivatives of the energy.

    Args:
        stage: what stays as it is.
        tilt: [rad].
        bow: [1/m].
        side: [rad].
    Returns: the derivatives.
    """
    c, s = cos(tilt), sin(tilt)
    stem, edge = stage.stem, stage.body.plate.edge
    gx, gy = stem.rise
    climb, twist, rigid = edge * tilt, stem.twist, stem.side_stiffness <= 0.0
    t, b, e = 0.0, stem.bow_push + stem.stiffness * bow, stem.side_stiffness * side
    tt = tb = ts = bs = 0.0
    bb, ss = stem.stiffness, stem.side_stiffness
    for w, axial, whole, main, nut_x, nut_y in stage.wires:
        z = w.nut_z
        px, py = w.aft * c - w.up * s, w.aft * s + w.up * c
        dx, dy = nut_x + bow * gx + side * z - px, nut_y + bow * gy + side * twist * z - climb - py
        length = sqrt(dx * dx + dy * dy + w.aside * w.aside)
        force, rate, _ = pull(w, axial, length + w.tail, whole, main)
        qx, qy = py, -(edge + px)  # of (dx, dy) by tilt
        lt, lb = (dx * qx + dy * qy) / length, (dx * gx + dy * gy) / length
        f = force / length
        t += force * lt
        b += force * lb
        tt += rate * lt * lt + f * (qx * qx + qy * qy - lt * lt + dx * px + dy * py)
        tb += rate * lt * lb + f * (qx * gx + qy * gy - lt * lb)
        bb += rate * lb * lb + f * (gx * gx + gy * gy - lb * lb)
        if not rigid:
            hx, hy = z, twist * z
            ls = (dx * hx + dy * hy) / length
            e += force * ls
            ts += rate * lt * ls + f * (qx * hx + qy * hy - lt * ls)
            bs += rate * lb * ls + f * (gx * hx + gy * hy - lb * ls)
            ss += rate * ls * ls + f * (hx * hx + hy * hy - ls * ls)
    more_t, more_tt = _springs_and_weight(stage, c, s, tilt)
    return Slopes(t + more_t, b, e, tt + more_tt, tb, ts, bb, bs, 1.0 if rigid else ss)


def _springs_and_weight(stage: Stage, c: float, s: float, tilt: float) -> tuple[float, float]:
    """Their part of the first and second derivative by tilt."""
    edge = stage.body.plate.edge
    climb = edge * tilt
    t = tt = 0.0
    for aft, up, x, y, aside2, rate, initial, free, closed in stage.coils:
        px, py = aft * c - up * s, aft * s + up * c
        dx, dy = x - px, y - climb - py
        span = sqrt(dx * dx + dy * dy + aside2)
        over = span - free
        stiff = closed if over < 0.0 else rate
        force = initial + stiff * over
        if force > 0.0:
            qx, qy = py, -(edge + px)
            arm = (dx * qx + dy * qy) / span
            t += force * arm
            tt += stiff * arm * arm + force / span * (qx * qx + qy * qy - arm * arm + dx * px + dy * py)
    wx, wy = stage.weight
    aft, up = stage.body.plate.centre
    cx, cy = aft * c - up * s, aft * s + up * c
    return t + wx * cy - wy * (edge + cx), tt + wx * cx + wy * cy


def settle_neck(stage: Stage, tilt: float, bow: float, side: float) -> tuple[Slopes, float, float]:
    """Let the neck settle with the plate held.

    Args:
        stage: what stays as it is.
        tilt: [rad].
        bow: where to begin [1/m].
        side: where to begin [rad].
    Returns: derivatives there, bow [1/m], side [rad].
    """
    for _ in range(20):
        found = slopes(stage, tilt, bow, side)
        db, ds = found.neck_step()
        if abs(db) < BOW_SETTLED and abs(ds) < BOW_SETTLED:
            return found, bow + db, side + ds
        bow, side = bow + db, side + ds
    return found, bow, side


def finish(stage: Stage, tilt: float, bow: float, side: float, contact: float, at_stop: bool) -> Rest:
    """Keep what slid, and hear the strings."""
    state, warmth = stage.state, stage.body.warmth
    grown = 1.0 + warmth.string * state.warm
    soft = 1.0 - warmth.soft * state.warm
    found = stage.pulls(tilt, bow, side)
    heard = tuple(
        hertz(length, tension, (length + w.tail) / kept - 1.0, w.unit_mass / grown, w.bending * soft)
        for w, (tension, length, kept) in zip(stage.body.wires, found, strict=True)
    )
    most = stage.body.hidden.seat
    seat = list(state.seat)
    if most > 0.0 and tilt != state.tilt:
        for i, now, before in zip(state.hung, stage.spans(tilt), stage.spans(state.tilt), strict=True):
            seat[i] = max(-most, min(most, seat[i] + SEAT_SHARE * (now - before)))
    kept_state = State(
        state.whole, tuple(kept / grown for _, _, kept in found), state.claw, state.hung, tuple(seat), state.wedge,
        state.attitude, state.warm, tilt, bow, side,
    )  # fmt: skip
    return Rest(kept_state, tuple(tension for tension, _, _ in found), heard, contact, at_stop)


def rest(body: Body, state: State) -> Rest:
    """Where the plate comes to rest from where it stands.

    Args:
        body: the instrument.
        state: as set, with the place the plate comes from.
    Returns: the rest; its state is the new one.
    """
    stage = Stage(body, state)
    low, high = stage.low, stage.high
    tilt = min(max(state.tilt, low), high)
    found, bow, side = settle_neck(stage, tilt, state.bow, state.side)
    moment = found.condensed()[0]
    friction = body.plate.friction
    if abs(moment) <= friction:
        return finish(stage, tilt, bow, side, 0.0, False)
    way, stop = (-1.0, low) if moment > 0.0 else (1.0, high)
    if tilt == stop:
        return finish(stage, tilt, bow, side, moment + way * friction, True)
    return _march(stage, found, (tilt, bow, side), way, stop)


def _march(stage: Stage, found: Slopes, pose: tuple[float, float, float], way: float, stop: float) -> Rest:
    """Newton's steps downhill, none longer than a stride, kept between the ends of a bracket once there is one."""
    tilt, bow, side = pose
    friction = stage.body.plate.friction
    behind, ahead = tilt, None
    for _ in range(200):
        moment, stiffness = found.condensed()
        left = moment + way * friction  # still driving while left * way < 0
        if left * way < 0.0:
            behind = tilt
            if tilt == stop:
                found, bow, side = settle_neck(stage, tilt, bow, side)
                return finish(stage, tilt, bow, side, found.condensed()[0] + way * friction, True)
        else:
            ahead = tilt
        step = -left / stiffness if stiffness > 0.0 else way * STRIDE
        new = tilt + max(-STRIDE, min(STRIDE, step))
        if ahead is not None and not min(behind, ahead) < new < max(behind, ahead):
            new = 0.5 * (behind + ahead)
        elif (new - stop) * way > 0.0:
            new = stop
        db, ds = found.neck_step()
        fb, fs = found.neck_follows()
        moved = new - tilt
        tilt, bow, side = new, bow + db + fb * moved, side + ds + fs * moved
        if abs(moved) < TILT_SETTLED and abs(db) < BOW_SETTLED and abs(ds) < BOW_SETTLED and tilt != stop:
            return finish(stage, tilt, bow, side, 0.0, False)
        found = slopes(stage, tilt, bow, side)
    raise RangeError("the plate finds no rest; give an instrument whose springs and strings hold each other.")


def held_at(body: Body, state: State, tilt: float) -> Rest:
    """The instrument with the bar held so that the plate stands at a tilt, as far as its stops allow.

    Args:
        body: the instrument.
        state: as set.
        tilt: [rad].
    Returns: the instrument there.
    """
    stage = Stage(body, state)
    tilt = min(max(tilt, stage.low), stage.high)
    found, bow, side = settle_neck(stage, tilt, state.bow, state.side)
    return finish(stage, tilt, bow, side, found.condensed()[0], False)
