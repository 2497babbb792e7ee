"""Readings into the picture: every scene of the job explained at once.

The most likely traits, pegs, claw and tilts of all scenes are found by Gauss-Newton (maximum a posteriori), and a
Gaussian is laid about them (Laplace). Explaining the scenes one after another would be quicker but not true: the
instruments that fit a reading lie along a curve (a stiffer spring with less initial tension), and a Gaussian laid along
it early leaves it later. Derivatives of a scene are kept until the answer moves.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.instrument.traits import Array
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning import scenes
from setwright.planning.scenes import FREE, LOWER, MISHEARD, OPEN, Scene, Seen, fan, slopes
from setwright.planning.touched import ANY_TILT, heard_on, pressed_by, scene_of, stop_of
from setwright.planning.tracking import (
    CLAW_PLACE,
    CLAW_SLIP,
    LOOSE,
    STRETCH,
    STRETCH_SD,
    Answer,
    Doubt,
    Line,
    Peg,
    Picture,
    marks_of,
    scene_steps,
)
from setwright.planning.turned_back import expected_slips
from setwright.planning.unlike import Others, others_of

ROUNDS = 12
POOR = 20.0  # squares missed for one reading, from which the search is started elsewhere too
BACK = 6  # times a step is halved that led to no instrument there is
SHARES = np.array([1.0, 0.5, 0.25, 0.1, 0.03, 0.0])  # of a step that are tried
SMALL = 5e-3  # of a standard uncertainty before any reading; a smaller step is taken whole
SETTLED = 1e-3  # of a standard uncertainty before any reading; a smaller step ends the rounds
BEYOND_BELIEF = 5.0  # standard uncertainties from what all the rest says
MOST_DOUBTS = 2  # set aside at once
WRONG_TURN = 2.0  # turns, standard uncertainty of a turn that was not what was counted
SET_ASIDE = {"pitch": 1200.0, "rear gap": 0.02, "claw": 0.05}  # cents or m, standard uncertainty of what is set aside
ASIDE = 0.99
Rows = list[tuple[Array, Array]]  # of every scene: values of its rows and their standard uncertainties
STALE = 2.0  # steps of the derivatives, after which a scene is worked out anew
ENOUGH = 1e-3  # squares over uncertainties, by which a step must bring all nearer for another to follow
HERE = 0.1  # the same, within which derivatives formed anew would be the same
WORN = 2.0  # the same, after which its derivatives are formed anew too


@frozen
class Update:
    """What came of some readings."""

    picture: Picture
    free: bool  # whether the plate was taken to touch no stop
    missed: float = 0.0  # squares of all that is missed over their uncertainties, for one reading
    doubt: Doubt | None = None  # what fits worst, where it does not fit at all


def read(picture: Picture, seen: tuple[Seen, ...]) -> Update:
    """Take in readings of the present state.

    Args:
        picture: what was believed.
        seen: the readings, all of one state.
    Returns: what is believed now.
    """
    last = picture.scenes[-1] if picture.scenes and not picture.fresh else None
    scene = replace(last, seen=last.seen + seen) if last else scene_of(picture, seen)
    bare = picture.bare if last and picture.bare else replace(picture, bare=None)
    stop, told, line = heard_on(bare, scene)
    scene = replace(scene, stop=stop, told=told)
    before, lines = (picture.scenes[:-1], picture.lines[:-1]) if last else (picture.scenes, picture.lines)
    before, lines = _with_hindsight(before, lines, scene)
    update = explained(replace(picture, scenes=(*before, scene), lines=(*lines, line), fresh=False, bare=bare))
    for _ in range(MOST_DOUBTS):
        if update.doubt is None:
            break
        aside = set_aside(update.picture, update.doubt)
        stop, told = stop_of(bare, aside.scenes[-1])  # a wrong reading may have told of a wrong stop
        aside = replace(aside, scenes=(*aside.scenes[:-1], replace(aside.scenes[-1], stop=stop, told=told)))
        update = _refitted(explained(aside))
    return update


def _refitted(update: Update) -> Update:
    """What was set aside, with what all the rest says it was."""
    picture = update.picture
    assert picture.answer is not None
    lead = float(picture.model.traits.claw.lead)
    doubts = []
    for doubt in picture.doubts:
        if doubt.kind == "turn":
            doubts.append(replace(doubt, value=-float(picture.answer.slips[doubt.scene]) / lead))
            continue
        line, scene = picture.lines[doubt.scene], picture.scenes[doubt.scene]
        assert line is not None
        shows = _frame(picture).part(scene, doubt.scene).shown(line, picture.answer.whole)
        same = [_is_doubted(one, doubt) for one in scene.seen]
        doubts.append(replace(doubt, fits=_as_read(doubt.kind, shows[same.index(True)])))
    return replace(update, picture=replace(picture, doubts=tuple(doubts)))


def _as_read(kind: str, row: float) -> float:
    """What a scene's row shows, in the unit it is read in: Hz or m."""
    return float(np.exp(row / CENTS_PER_LOG) if kind == "pitch" else row)


def _with_hindsight(
    before: tuple[Scene, ...], lines: tuple[Line | None, ...], scene: Scene
) -> tuple[tuple[Scene, ...], tuple[Line | None, ...]]:
    """A plate heard on its stop rested there too while fewer strings pulled at it; of one heard free it is open."""
    scenes_, lines_ = list(before), list(lines)
    if scene.told and scene.stop in (LOWER, FREE):
        stop = LOWER if scene.stop == LOWER else OPEN
        for i in range(len(scenes_) - 1, -1, -1):
            old = scenes_[i]
            if not _set_alike(old, scene) or old.told:
                break
            if old.stop != stop:
                scenes_[i], lines_[i] = replace(old, stop=stop), None
    return tuple(scenes_), tuple(lines_)


def _set_alike(one: Scene, other: Scene) -> bool:
    """Whether claw, springs and wedge are the same."""
    a, b = one.settings, other.settings
    alike = np.array_equal(a.springs, b.springs) and np.array_equal(a.prop, b.prop, equal_nan=True)
    return alike and one.turns == other.turns


@frozen
class _Part:
    """What of the whole vector one scene shows, in straight lines.

    columns: (size, L) takes the whole vector to the scene's unknowns. beside: (R + 1, size) what its rows show beside
    that: springs that pull otherwise stand for a claw elsewhere, but where the claw is read it stands where it stands.
    """

    columns: Array
    beside: Array

    def shown(self, line: Line, whole: Array) -> Array:
        """(R + 1) what the scene's rows show."""
        return line.shown(whole @ self.columns) + self.beside @ whole

    def slopes(self, line: Line) -> Array:
        """(R + 1, size) of these by the whole vector."""
        return np.asarray(line.by @ self.columns.T + self.beside)


@frozen
class _Frame:
    """How the unknowns of all scenes stand in one vector: deviations, pegs, slips of the claw, unlikes, tilts."""

    parts: int
    pegs: tuple[Peg, ...]
    slips: int
    others: tuple[Others, ...]
    tilts: int

    @property
    def sizes(self) -> tuple[int, ...]:
        return self.parts, len(self.pegs), self.slips, len(self.others), self.tilts

    @property
    def size(self) -> int:
        return sum(self.sizes)

    @property
    def claw(self) -> int:
        """Where the slips of the claw begin."""
        return self.parts + len(self.pegs)

    def now(self, pegs: tuple[int, ...]) -> Array:
        """(size, N) that takes the whole vector to a picture's unknowns, all turns of the claw made."""
        out = np.zeros((self.size, self.parts + len(pegs) + 1 + len(self.others)))
        out[range(self.parts), range(self.parts)] = 1.0
        for i, peg in enumerate(pegs):
            one: int | None = peg
            while one is not None:
                out[self.parts + one, self.parts + i] = 1.0
                one = self.pegs[one].after
        first, claw = self.claw, self.parts + len(pegs)
        out[first : first + self.slips, claw] = 1.0
        for i in range(len(self.others)):
            out[first + self.slips + i, claw + 1 + i] = 1.0
        return out

    def part(self, scene: Scene, index: int) -> _Part:
        """What one scene shows of the whole vector."""
        out, claw = np.zeros((self.size, self.parts + len(scene.pegs) + 2)), self.parts + len(scene.pegs)
        out[:, : claw + 1] = self.now(scene.pegs)[:, : claw + 1]
        first = self.claw
        out[first + scene.turns + 1 : first + self.slips, claw] = 0.0
        out[self.size - self.tilts + index, -1] = 1.0
        beside = np.zeros((len(scene.seen) + 1, self.size))
        other = others_of(self.others, scene.settings)
        if other is not None:
            out[first + self.slips + other, claw] = 1.0
            beside[[k for k, one in enumerate(scene.seen) if one.kind == "claw"], first + self.slips + other] = -1.0
        return _Part(out, beside)


def _frame(picture: Picture) -> _Frame:
    return _Frame(picture.parts, picture.pegs, picture.turns + 1, picture.others, len(picture.scenes))


def _prior(picture: Picture, frame: _Frame) -> tuple[Array, Array]:
    """Mean and standard uncertainty of the whole vector before any reading; deviations are handled as they come."""
    lead = float(picture.model.traits.claw.lead)
    mean = np.zeros(frame.size)
    sd = np.ones(frame.size)
    sd[: frame.parts] = [part.sd for part in picture.model.known.parts]
    pegs = slice(frame.parts, frame.claw)
    mean[pegs] = [p.cents if p.after is None else STRETCH for p in picture.pegs]
    sd[pegs] = [LOOSE if p.after is None else STRETCH_SD for p in picture.pegs]
    slips = slice(pegs.stop, pegs.stop + frame.slips)
    wrong = {doubt.scene for doubt in picture.doubts if doubt.kind == "turn"}
    mean[slips] = expected_slips(picture.scenes, picture.turns, lead)
    sd[slips] = [CLAW_PLACE, *((WRONG_TURN if i in wrong else CLAW_SLIP) * lead for i in range(1, frame.slips))]
    sd[slips.stop : slips.stop + len(frame.others)] = [one.sd for one in frame.others]
    tilts = slice(frame.size - frame.tilts, frame.size)
    mean[tilts], sd[tilts] = [scene.tilt for scene in picture.scenes], ANY_TILT
    return mean, sd


def explained(picture: Picture) -> Update:
    """The picture with all its scenes explained at once.

    The search starts at the last answer. Where that leads to a poor one, the traits of the last answer with pegs and
    tilts as they are noted are tried too, and then nothing but what was known before.

    Args:
        picture: with its scenes.
    Returns: most likely unknowns and the Gaussian about them.
    """
    best = _searched(picture)
    if best.missed < POOR or picture.answer is None:
        return best
    fresh: tuple[Line | None, ...] = (None,) * len(picture.scenes)
    none = np.empty(0)
    for start in (replace(picture.answer, pegs=none, tilts=none), None):
        other = _searched(replace(picture, answer=start, lines=fresh))
        best = min(best, other, key=lambda one: one.missed)
    return best


def _searched(picture: Picture) -> Update:
    """Gauss-Newton from the picture's last answer, or from what was known before."""
    frame = _frame(picture)
    mean, sd = _prior(picture, frame)
    weight = np.diag(1.0 / sd**2)
    weight[: frame.parts, : frame.parts] = np.linalg.inv(picture.model.known.covariance)
    mean[: frame.parts] = picture.model.known.mean
    members = [frame.part(scene, i) for i, scene in enumerate(picture.scenes)]
    read_off = [scenes.targets(scene, picture.model.friction) for scene in picture.scenes]
    at = _start(picture.answer, frame, mean)
    old, anew = picture.lines, (None,) * len(members)
    lines: tuple[Line, ...] = ()
    step = scene_steps(picture)
    stale = STALE
    before = at
    for round_ in range(ROUNDS + 1):
        at, lines = _near(picture, members, before, at, step, old if stale else anew)
        old, before = lines, at
        information, pull = weight.copy(), weight @ (mean - at)
        for (value, noise), one, line in zip(read_off, members, lines, strict=True):
            slope = one.slopes(line) / noise[:, None]
            information += slope.T @ slope
            pull += slope.T @ ((value - one.shown(line, at)) / noise)
        scaled = information * np.outer(sd, sd)
        way = sd * np.linalg.solve(scaled, sd * pull)
        if round_ == ROUNDS:
            break
        share, gained = 1.0, np.inf
        formed_here = all(np.all(np.abs(one.formed - one.at) < HERE * step) for one in lines)
        if np.max(np.abs(way) / sd) >= SMALL:
            share, gained, values = _share(picture, read_off, members, at, way, mean, weight)
            old = _carried(lines, members, at + share * way, values) if share == 1.0 else anew
        at = at + share * way
        if share < 0.1 and stale and not formed_here:
            stale = 0.0  # old derivatives lead nowhere: form them anew
        elif share == 0.0 or gained < ENOUGH or np.max(np.abs(way) / sd) * share < SETTLED:
            break
    covariance = np.linalg.inv(scaled) * np.outer(sd, sd)
    update = _settled(picture, frame, at, covariance, lines)
    missed = _left_over(read_off, members, lines, at) + float((at - mean) @ weight @ (at - mean))
    missed /= sum(len(value) for value, _ in read_off)
    return replace(update, missed=missed, doubt=_worst(update.picture, read_off, frame, members, covariance, sd))


def _left_over(read_off: Rows, members: list[_Part], lines: tuple[Line, ...], at: Array) -> float:
    """Squares of what the readings are missed by over their uncertainties, in straight lines about the answer."""
    total = 0.0
    for (value, noise), one, line in zip(read_off, members, lines, strict=True):
        total += float((((value - one.shown(line, at)) / noise) ** 2).sum())
    return total


def _near(
    picture: Picture, members: list[_Part], before: Array, at: Array, step: Array, old: tuple[Line | None, ...]
) -> tuple[Array, tuple[Line, ...]]:
    """The place and its lines; nearer to the one before where no instrument can stand there or a step beside it."""
    for _ in range(BACK):
        try:
            return at, _lines(picture, [at @ one.columns for one in members], step, old)
        except RangeError:
            at = 0.5 * (before + at)
    return before, _lines(picture, [before @ one.columns for one in members], step, old)


def _start(answer: Answer | None, frame: _Frame, mean: Array) -> Array:
    """Where the search starts: the last answer, new unknowns at what is expected of them."""
    at = mean.copy()
    if answer is not None:
        parts = (answer.deviations, answer.pegs, answer.slips, answer.unlikes, answer.tilts)
        first = 0
        for old, size in zip(parts, frame.sizes, strict=True):
            keep = min(len(old), size)
            at[first : first + keep] = old[:keep]
            first += size
    return at


def _lines(picture: Picture, at: list[Array], step: Array, old: tuple[Line | None, ...]) -> tuple[Line, ...]:
    """All scenes in straight lines; the old ones while they are near and of the same rows."""
    out: dict[int, Line] = {}
    anew = []
    for i, line in enumerate(old):
        if line is not None and np.all(np.abs(at[i] - line.at) < STALE * step) and _fresh(line, at[i], step):
            out[i] = line
        else:
            anew.append(i)
    if anew:
        chosen = [picture.scenes[i] for i in anew]
        marks = [marks_of(picture, scene.pegs) for scene in chosen]
        for i, values in zip(
            anew,
            scenes.shown_together(picture.model, chosen, [fan(at[i], step) for i in anew], marks),
            strict=True,
        ):
            out[i] = Line(at[i], values[0], slopes(values, step), at[i])
    return tuple(out[i] for i in range(len(old)))


def _carried(lines: tuple[Line, ...], members: list[_Part], at: Array, values: list[Array]) -> tuple[Line, ...]:
    """Lines about the next place, where what the scenes show is known already; their derivatives as they were."""
    if not values:
        return lines
    some = zip(lines, members, values, strict=True)
    return tuple(replace(line, at=at @ one.columns, values=shows) for line, one, shows in some)


def _fresh(line: Line, at: Array, step: Array) -> bool:
    """Whether the derivatives of a line are near enough to a place."""
    return line.formed is line.at or bool(np.all(np.abs(at - line.formed) < WORN * step))


def _share(
    picture: Picture, read_off: Rows, members: list[_Part], at: Array, way: Array, mean: Array, weight: Array
) -> tuple[float, float, list[Array]]:
    """Share of a step at which prior and readings together are missed least, by how much less; what is shown there."""
    many = at + SHARES[:, None] * way
    try:
        cost, shown = _missed(picture, read_off, members, many, mean, weight)
    except RangeError:  # a step too far, to no instrument there is
        cost, shown = np.array([_missed_alone(picture, read_off, members, one, mean, weight) for one in many]), []
    best = int(np.argmin(cost))
    return float(SHARES[best]), float(cost[-1] - cost[best]), [values[best] for values in shown]


def _missed(
    picture: Picture, read_off: Rows, members: list[_Part], many: Array, mean: Array, weight: Array
) -> tuple[Array, list[Array]]:
    """(B) how far prior and readings together are missed at (B, size) places; what every scene shows there."""
    away = many - mean
    cost = np.einsum("bi,ij,bj->b", away, weight, away)
    marks = [marks_of(picture, scene.pegs) for scene in picture.scenes]
    now = scenes.shown_together(picture.model, picture.scenes, [many @ one.columns for one in members], marks)
    for (value, noise), one, values in zip(read_off, members, now, strict=True):
        cost += (((value - values - many @ one.beside.T) / noise) ** 2).sum(axis=1)
    return np.asarray(cost), now


def _missed_alone(
    picture: Picture, read_off: Rows, members: list[_Part], at: Array, mean: Array, weight: Array
) -> float:
    """`_missed` at one place; infinite where no instrument can be there."""
    try:
        return float(_missed(picture, read_off, members, at[None], mean, weight)[0][0])
    except RangeError:
        return np.inf


def _settled(picture: Picture, frame: _Frame, at: Array, covariance: Array, lines: tuple[Line | None, ...]) -> Update:
    """The picture laid about the answer."""
    answer = Answer(*np.split(at, np.cumsum(frame.sizes[:-1])))
    scene = replace(picture.scenes[-1], tilt=float(at[-1]))
    now = frame.now(picture.now)
    after = replace(
        picture,
        mean=at @ now,
        covariance=now.T @ covariance @ now,
        tilt=scene.tilt,
        scenes=(*picture.scenes[:-1], scene),
        lines=lines,
        answer=answer,
    )
    return Update(replace(after, pressed=pressed_by(after, scene)), scene.stop == FREE)


def _worst(
    picture: Picture, read_off: Rows, frame: _Frame, members: list[_Part], covariance: Array, sd: Array
) -> Doubt | None:
    """What lies farthest from what all the rest says of it (deleted residuals), if it is beyond belief.

    With r the residual, s the standard uncertainty and h the variance of what is expected, the rest alone misses a
    reading by r / sqrt(s2 - h) of its own standard uncertainties; of a turn of the claw that was not what was counted
    the slip stands over the root of what the readings took from its variance.
    """
    worst: Doubt | None = None
    most = BEYOND_BELIEF
    assert picture.answer is not None
    lines = [line for line in picture.lines if line is not None]
    every = [part.slopes(line) for part, line in zip(members, lines, strict=True)]
    by = np.concatenate(every)
    variances = np.split(((by @ covariance) * by).sum(axis=1), np.cumsum([len(one) for one in every[:-1]]))
    for i, (scene, part, line, variance) in enumerate(zip(picture.scenes, members, lines, variances, strict=True)):
        value, noise = read_off[i]
        shows = part.shown(line, picture.answer.whole)
        some = zip(scene.seen, (value - shows).tolist(), noise.tolist(), variance.tolist(), strict=False)
        for k, (one, off, spread, known) in enumerate(some):
            if one.sd < ASIDE * SET_ASIDE[one.kind]:
                left = max(spread**2 - known, (0.1 * spread) ** 2)
                if one.kind == "pitch" and abs(off * spread**2 / left) < MISHEARD:
                    continue
                if abs(off) > most * math.sqrt(left):
                    most = abs(off) / math.sqrt(left)
                    worst = Doubt(one.kind, i, one.value, _as_read(one.kind, shows[k]), most, one.string, one.entry)
    first = frame.claw
    lead = float(picture.model.traits.claw.lead)
    expected = expected_slips(picture.scenes, picture.turns, lead)
    for turn in range(1, frame.slips):
        left = sd[first + turn] ** 2 - covariance[first + turn, first + turn]
        slip = float(picture.answer.slips[turn]) - expected[turn]
        times = abs(slip) / math.sqrt(max(left, (1e-2 * sd[first + turn]) ** 2))
        if times > most:
            most, worst = times, Doubt("turn", turn, -slip / lead, 0.0, float(times))
    return worst


def _is_doubted(one: Seen, doubt: Doubt) -> bool:
    return (one.kind, one.value, one.string) == (doubt.kind, doubt.value, doubt.string)


def set_aside(picture: Picture, doubt: Doubt) -> Picture:
    """The picture with one reading or one turn no longer believed.

    Args:
        picture: what is believed.
        doubt: what is not.
    Returns: the picture, to be explained anew.
    """
    aside = replace(picture, doubts=(*picture.doubts, doubt), lines=(None,) * len(picture.scenes))
    if doubt.kind == "turn":
        return aside
    scene = picture.scenes[doubt.scene]
    seen = tuple(replace(one, sd=SET_ASIDE[one.kind]) if _is_doubted(one, doubt) else one for one in scene.seen)
    changed = (*picture.scenes[: doubt.scene], replace(scene, seen=seen), *picture.scenes[doubt.scene + 1 :])
    return replace(aside, scenes=changed)
