"""String heights at every fret, and the relief by every way of reading it, as found and after the plan."""

from __future__ import annotations

import numpy as np

from setwright.bench.places import FANNED, on_centre_line, under_strings
from setwright.bench.standing import SAMPLES, Banded, Bench, Standing, band, on_the_bench
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.conventions import LEAN, LEAST_SECOND, Observed, Way, fit_shape, height_way, relief_way
from setwright.instrument.jobfile import Job
from setwright.instrument.neckshape import board_of, centre_board, line_row
from setwright.instrument.strokes import contacts
from setwright.instrument.traits import Array
from setwright.physics.frets import fret_position
from setwright.planning.bands import spread
from setwright.planning.plan import End
from setwright.sheets.board import Places, Room
from setwright.sheets.heights import Dimension, HeightsSheet, Hollow, Line, View, draw_heights
from setwright.telling import Tell, each, untold, within
from setwright.units.show import MINUS, System
from setwright.units.tables import unit_size

COVER = 1.96  # 95 % of a Gaussian
# Standard uncertainty of the clearance over fret 1, of which no file says how it was read; common practice, no source.
SLOT_KNOWN = 0.05e-3  # m, slot heights typed
SLOT_USUAL = 0.10e-3  # m, slot heights of the pattern


@frozen
class ReliefRead:
    """Relief as one way of reading it shows it."""

    low: int  # fret held, or the straightedge's first rest
    read: int
    high: int
    straightedge: bool
    words: str
    value: Banded  # m
    as_read: bool  # whether the job's own reading was taken this way


@frozen
class HeightsShown:
    """Heights and relief in one state."""

    when: str
    heights: tuple[tuple[Banded, ...], ...]  # m, per string at fret 1 and on, crown to underside, open string
    capoed: tuple[tuple[Banded | None, ...], ...]  # m, the same with the capo; None up to it; () without a capo
    relief: tuple[ReliefRead, ...]
    bow: Banded  # 1/m, curvature of the neck
    crowns: tuple[tuple[float, ...], ...]  # m, per string: crowns over the line of its first and its last
    nut: tuple[float, ...]  # m, undersides in their slots over the same lines
    saddle: tuple[float, ...]  # m, undersides at the saddles over the same lines
    saddle_x: tuple[float, ...]  # m from the nut


@frozen
class HeightsTable:
    """The whole answer."""

    title: str
    instrument: str
    strings: tuple[str, ...]
    scale: float  # m
    frets: int
    fret_x: tuple[float, ...]  # m from the nut
    places: tuple[Places, ...]  # under every string of a fanned board, else none
    wanted: tuple[int, ...]  # frets asked for
    capo: int | None
    height_read: str  # how the job's heights were read; "" where they were not
    relief_read: str  # the same of its relief
    states: tuple[HeightsShown, ...]
    remarks: tuple[str, ...]


def heights_of(
    job: Job,
    frets: tuple[int, ...] = (),
    capo: int | None = None,
    relief: tuple[tuple[int, int, int], ...] = (),
    plan: bool = False,
    samples: int = SAMPLES,
    seed: int = 0,
    end: End | None = None,
    tell: Tell = untold,
) -> HeightsTable:
    """Heights of every string at every fret and relief under several ways of reading it.

    Args:
        job: as read from its file.
        frets: wanted in the table; none: all [1].
        capo: fret of a capo, None for none [1].
        relief: ways wanted besides the usual ones: fret held, fret read, fret held [1].
        plan: whether the plan's end is wanted too.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        end: that of the plan where it is known already; else the job is planned where it is wanted.
        tell: takes the share of the work that is done, that of planning apart.
    Returns: the table.
    Raises: InputError for frets the board does not have, or strings not at pitch; ContradictionError, NoPlanError.
    """
    last = job.instrument.frets
    _on_board(frets, capo, last)
    bench = on_the_bench(job, plan, samples, seed, end, within(tell, 0.0, 0.3))
    board = bench.problem.traits.fretboard
    ways = _ways(job, relief, last, float(board.scale), float(bench.problem.traits.neck.joint_x))
    gauges = job.want.strings if plan else job.found.strings
    found, bend = job.found.string_height, job.found.relief
    return HeightsTable(
        title=job.title,
        instrument=job.instrument.name,
        strings=tuple(gauge.text for gauge in gauges),
        scale=float(board.scale),
        frets=last,
        fret_x=on_centre_line(bench.problem.traits),
        places=under_strings(bench.problem.traits),
        wanted=frets or tuple(range(1, last + 1)),
        capo=capo,
        height_read="" if found is None else f"{height_way(found.fret)}, crown to underside, open string",
        relief_read="" if bend is None else f"{_read_way(job)}: {bend.value.written.text}".removeprefix("relief "),
        states=tuple(_shown(bench, one, ways, capo) for one, _ in each(within(tell, 0.3, 1.0), bench.states)),
        remarks=((FANNED,) if bench.problem.traits.fanned else ()) + bench.seen_remarks,
    )


def _on_board(frets: tuple[int, ...], capo: int | None, last: int) -> None:
    """Refuse frets the board does not have."""
    for fret in frets:
        if not 1 <= fret <= last:
            raise InputError(f"--fret: there is no fret {fret}; this board has frets 1 to {last}.")
    if capo is not None and not 1 <= capo < last:
        raise InputError(f"--capo: a capo on fret {capo} leaves no fret to read; allowed is 1 to {last - 1}.")
    if capo is not None and frets and max(frets) <= capo:
        raise InputError(f"--capo: no fret asked for lies beyond the capo on {capo}; ask for a higher one.")


def _read_way(job: Job) -> Way | None:
    """How the job's relief was read."""
    bend = job.found.relief
    return None if bend is None else relief_way(bend.hold[0], bend.hold[1], bend.read)


def _ways(
    job: Job, asked: tuple[tuple[int, int, int], ...], last: int, scale: float, joint_x: float
) -> tuple[Way, ...]:
    """The job's own way, those asked for, and the usual ones the board has, each once."""
    joint = int(np.argmin(np.abs(np.asarray(fret_position(scale, np.arange(1, last + 1))) - joint_x))) + 1
    usual = [(1, read, 17) for read in (7, 8, 9)] + [(1, 8, joint), (1, 8, last)]
    out: list[Way] = []
    own = _read_way(job)
    if own is not None:
        out.append(own)
    for low, read, high in asked:
        if high > last:
            raise InputError(f"--relief: there is no fret {high}; this board has frets 1 to {last}.")
        out.append(relief_way(low, high, read))
    out += [relief_way(low, high, read) for low, read, high in usual if read < high <= last]
    if last > 8:
        out.append(relief_way(1, last, 8, straightedge=True))
    return tuple(dict.fromkeys(out))


def _shown(bench: Bench, one: Standing, ways: tuple[Way, ...], capo: int | None) -> HeightsShown:
    """Heights and relief of a state, with what no reading tells in the bands."""
    x, y, saddle_x, saddle_y = contacts(one.traits, one.settings, one.state)
    strings = y.shape[1]
    held = {stop: _over(x, y, saddle_x, saddle_y, stop) for stop in _stops(capo)}
    extra = [_untold(bench, s + 1, capo, float(held[0][0, s, 1])) for s in range(strings)]
    first = bench.states[0]
    lines = tuple(_heights(held[0], extra, s, 0) for s in range(strings))
    capoed: tuple[tuple[Banded | None, ...], ...] = ()
    if capo is not None:
        capoed = tuple(
            (*(None for _ in range(capo)), *_heights(held[capo], extra, s, capo)[capo:]) for s in range(strings)
        )
    base = _chord(x[0], y[0])
    at_saddle = base[1][:, 0] * (saddle_x[0] - x[0, :, 1]) + base[0][:, 0]
    return HeightsShown(
        when=one.when,
        heights=lines,
        capoed=capoed,
        relief=tuple(_relief(bench, first, one, way) for way in ways),
        bow=band(one.state.bow),
        crowns=tuple(tuple(float(v) for v in row) for row in _level(x[0], y[0], base)[:, 1:]),
        nut=tuple(float(v) for v in _level(x[0], y[0], base)[:, 0]),
        saddle=tuple(float(v) for v in saddle_y[0] - at_saddle),
        saddle_x=tuple(float(v) for v in saddle_x[0]),
    )


def _over(x: Array, y: Array, saddle_x: Array, saddle_y: Array, stop: int) -> Array:
    """(B, S, N + 1) underside of a string that leaves from a stop over every crown [m]."""
    slope = (saddle_y - y[..., stop]) / (saddle_x - x[..., stop])
    return np.asarray(y[..., stop, None] + slope[..., None] * (x - x[..., stop, None]) - y)


def _chord(x: Array, y: Array) -> tuple[Array, Array]:
    """Height over fret 1 (S, 1) and slope (S, 1) of the line over the first and the last crown."""
    return y[:, 1:2], (y[:, -1:] - y[:, 1:2]) / (x[:, -1:] - x[:, 1:2])


def _level(x: Array, y: Array, base: tuple[Array, Array]) -> Array:
    return np.asarray(y - base[0] - base[1] * (x - x[:, 1:2]))


def _heights(over: Array, extra: list[dict[int, Array]], string: int, stop: int) -> tuple[Banded, ...]:
    """One string over crown 1 and on; what the ensemble holds and what no reading tells, together."""
    out = []
    for fret in range(1, over.shape[-1]):
        own = spread(over[1:, string, fret])
        untold = float(extra[string][stop][fret - 1]) if fret > stop else 0.0
        out.append(Banded(float(over[0, string, fret]), float(np.hypot(own, COVER * untold))))
    return tuple(out)


def _stops(capo: int | None) -> tuple[int, ...]:
    """Where the strings leave from."""
    return (0,) if capo is None else (0, capo)


def _untold(bench: Bench, string: int, capo: int | None, first: float) -> dict[int, Array]:
    """Standard uncertainty of heights by what the readings leave open: slot, lean of the bow, the reading itself.

    By stop (nut, capo): (N) over every crown [m]. Without a height read the ensemble alone knows the saddle.
    """
    board = board_of(bench.problem.traits, string)
    observed = [] if bench.job.found.state != "at pitch" else _readings(bench, string)
    slot = SLOT_KNOWN if ("nut", "slot") in bench.job.instrument.given else SLOT_USUAL
    observed.append(Observed(height_way(1), first, slot))
    covariance = fit_shape(board, observed).shape.covariance.copy()
    if not any(o.way.read > 1 and not o.way.relief for o in observed):
        covariance[3, :] = covariance[:, 3] = 0.0
    out = {}
    for stop in _stops(capo):
        frets = np.arange(1, board.frets + 1)
        ahead = frets[frets > stop]
        rows = line_row(board, np.full(len(ahead), stop), np.full(len(ahead), -1), ahead)
        sd = np.zeros(board.frets)
        sd[stop:] = np.sqrt(np.maximum(np.einsum("fi,ij,fj->f", rows, covariance, rows), 0.0))
        out[stop] = sd
    return out


def _readings(bench: Bench, string: int) -> list[Observed]:
    """Relief and this string's height as read."""
    out = []
    bend, high = bench.job.found.relief, bench.job.found.string_height
    way = _read_way(bench.job)
    if bend is not None and way is not None:
        out.append(Observed(way, bend.value.si, bend.value.band))
    if high is not None and high.fret > 1:
        amount = high.amounts[string - 1]
        out.append(Observed(height_way(high.fret), amount.si, amount.band))
    return out


def _relief(bench: Bench, first: Standing, one: Standing, way: Way) -> ReliefRead:
    """Relief by one way; what the reading leaves open of the neck's shape is in the band."""
    board = centre_board(bench.problem.traits)
    own = _read_way(bench.job)
    bend = bench.job.found.relief
    row = line_row(board, way.start, way.end, way.read)
    if bend is not None and own is not None and first.when == "as found":
        shape = fit_shape(board, [Observed(own, bend.value.si, bend.value.band)]).shape
        moved = one.state.bow - first.state.bow
        mean, covariance = shape.mean[0] + float(moved[0]), shape.covariance[:2, :2].copy()
        covariance[0, 0] += (spread(moved[1:]) / COVER) ** 2
    else:
        mean = float(one.state.bow[0])
        sd = spread(one.state.bow[1:]) / COVER
        covariance = np.diag([sd**2, LEAST_SECOND**2 + (LEAN * mean) ** 2])
    half = COVER * float(np.sqrt(max(float(row[:2] @ covariance @ row[:2]), 0.0)))
    return ReliefRead(
        way.start,
        way.read,
        way.end,
        way.straightedge,
        str(way).removeprefix("relief "),
        Banded(float(row[0] * mean), half),
        way == own,
    )


def length_words(one: Banded, system: System) -> str:
    """A height or relief with its band, to a hundredth of a millimetre or a thou.

    Args:
        one: [m].
        system: "inch" or "mm".
    Returns: e.g. "1.50 ± 0.06 mm", ".062 ± .004 in".
    """
    if system == "mm":
        text = f"{1e3 * one.value:.2f} ± {max(1e3 * one.half_width, 0.01):.2f} mm"
    else:
        inch = unit_size("length", "in")
        text = f"{one.value / inch:.3f} ± {max(one.half_width / inch, 0.001):.3f} in"
        text = text.replace("0.", ".")
    return text.replace("-", MINUS)


def heights_drawing(result: HeightsTable, system: System, room: Room | None = None) -> str:
    """Heights as a side view of every string.

    Args:
        result: the table.
        system: "inch" or "mm".
        room: on paper, where it is printed.
    Returns: an SVG document.
    """
    now = result.states[-1]
    first = result.states[0] if len(result.states) > 1 else None
    shown = result.wanted if len(result.wanted) < result.frets else _usual_dimensions(result.frets)
    views = []
    for s, gauge in enumerate(result.strings):
        bend = now.relief[0] if s == 0 and now.relief else None
        hollow = None
        if bend is not None:
            words = f"relief {length_words(bend.value, system)}, {bend.words}"
            hollow = Hollow((bend.low, bend.high), bend.read, words)
        dimensions = tuple(Dimension(fret, length_words(now.heights[s][fret - 1], system)) for fret in shown)
        before = None if first is None else _line(first, s)
        views.append(View(f"{s + 1}  {gauge}", _line(now, s), before, dimensions, hollow))
    return draw_heights(
        HeightsSheet(
            result.title, result.instrument, now.when, result.scale, result.fret_x, tuple(views), result.places
        ),
        room,
    )


def _usual_dimensions(last: int) -> tuple[int, ...]:
    return tuple(dict.fromkeys(fret for fret in (1, 7, 12, 17, last) if fret <= last))


def _line(one: HeightsShown, s: int) -> Line:
    widths = tuple(height.half_width for height in one.heights[s])
    return Line(one.crowns[s], one.nut[s], one.saddle_x[s], one.saddle[s], widths)
