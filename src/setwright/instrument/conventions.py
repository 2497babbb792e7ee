"""From one way of reading a neck to another: relief, string height and first-fret clearance under any stops.

The trade has no single convention, and the same neck reads 0.76 to 1.29 times as much under another one. A reading is
turned into what is known of the neck (`neckshape`), and that into what the other way would show. What one reading
leaves open, above all where along the neck the bow sits, is in the uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from setwright.errors import ContradictionError, InputError
from setwright.frozen import frozen
from setwright.instrument.neckshape import SADDLE, Board, Known, NeckShape, line_row, seen
from setwright.instrument.traits import Array
from setwright.metrology.reading import Reading, check_uncertainty
from setwright.units import System, show_length

# Standard deviations of what no reading says; common practice widened, no source.
LEAN = 0.5  # of second over bow: at one of it the curvature at the nut is three times that at the joint
LEAST_SECOND = 2e-4  # 1/m, when there is next to no bow
USUAL_RELIEF = (0.25e-3, 0.20e-3)  # m, held at 1 and 17, read at 8, where no relief was read
USUAL_CLEARANCE = (0.40e-3, 0.15e-3)  # m, of the first fret, where no clearance was read
FREE = (100.0, 1.0, 1.0)  # 1/m, m, m: nothing known of bow, nut, saddle
DOUBT = 3.0902  # standard normal deviate of one in a thousand


@frozen
class Way:
    """How a gap is read: over the crown `read`, under the line from `start` to `end`.

    start: fret held or under the capo, 0 for the open string in its slot. end: fret held, SADDLE for a string that runs
    free. straightedge: it lies on the two crowns in place of the string, which reads the same.
    """

    start: int
    end: int
    read: int
    straightedge: bool = False

    @property
    def relief(self) -> bool:
        """Whether both ends of the line are crowns, so that only the neck's shape counts."""
        return self.start > 0 and self.end != SADDLE

    def __str__(self) -> str:
        if self.straightedge:
            return f"relief under a straightedge on {self.start} and {self.end}, read at {self.read}"
        if self.relief:
            return f"relief held at {self.start} and {self.end}, read at {self.read}"
        if self.end != SADDLE:
            return f"clearance at fret {self.read} with the string held at {self.end}"
        capo = f" with a capo on {self.start}" if self.start else ""
        return f"height at fret {self.read}{capo}"


@frozen
class Observed:
    """One reading, by its way."""

    way: Way
    value: float  # m
    standard_uncertainty: float  # m


@frozen
class Fitted:
    """A neck fitted to readings."""

    shape: NeckShape
    chi_square: float
    freedom: int
    residuals: Array  # (M) read less explained, over the standard uncertainty [1]


@frozen
class Converted:
    """A reading as another way would have shown it."""

    way: Way
    known: Known
    text: str


def relief_way(low: int, high: int, read: int, straightedge: bool = False) -> Way:
    """Relief with the string held at, or a straightedge on, two frets.

    Args:
        low: fret near the nut, 1 or more [1].
        high: fret near the body [1].
        read: fret between them [1].
        straightedge: instead of the string.
    Returns: the way.
    Raises: InputError for frets out of order.
    """
    if not 1 <= low < read < high:
        raise InputError(f"relief is read between two frets: {low}, {read}, {high} do not rise from fret 1 on.")
    return Way(low, high, read, straightedge)


def height_way(fret: int, capo: int | None = None, held: int | None = None) -> Way:
    """String height at a fret, or first-fret clearance with the string held further up (usually at fret 3).

    Args:
        fret: where it is read [1].
        capo: fret of a capo, None for the open string [1].
        held: fret held beyond, None for a string that runs free [1].
    Returns: the way.
    Raises: InputError for frets out of order.
    """
    if not (capo or 0) < fret or (held is not None and held <= fret) or (capo is not None and capo < 1):
        raise InputError(f"a height at fret {fret} needs a capo before it and a held fret beyond it, or none of them.")
    return Way(capo or 0, SADDLE if held is None else held, fret)


def way_of(reading: Reading) -> Way:
    """How a reading of relief, string height or first-fret clearance was taken.

    Args:
        reading: from the bench.
    Returns: the way.
    Raises: InputError where it does not say, or for another quantity.
    """
    how, fret = reading.convention, reading.place.fret
    if reading.quantity == "relief":
        if how.hold_low is None or how.hold_high is None or how.read_at is None:
            raise InputError("this relief does not say how it was read; name the two frets held and the one read.")
        return relief_way(how.hold_low, how.hold_high, how.read_at, how.straightedge)
    if reading.quantity == "first_fret_clearance":
        return height_way(1 if fret is None else fret)
    if reading.quantity != "string_height":
        raise InputError(f"a reading of {reading.quantity!r} has no other convention; relief and string height have.")
    if fret is None:
        raise InputError("this string height does not say at which fret it was read; name the fret.")
    return height_way(fret, how.capo)


def observe(reading: Reading) -> Observed:
    """A reading with its way, for `fit_shape`.

    Args:
        reading: of relief, string height or first-fret clearance [m].
    Returns: the same as a way, value and standard uncertainty.
    Raises: InputError as `way_of`.
    """
    return Observed(way_of(reading), reading.value, reading.standard_uncertainty)


def _usual(board: Board, observed: Sequence[Observed]) -> tuple[Array, Array]:
    """Mean (4) and standard deviation (4) before the readings, second left at zero."""
    high = min(17, board.frets)
    mean, sd = np.zeros(4), np.array([FREE[0], 0.0, FREE[1], FREE[2]])
    if not any(o.way.relief for o in observed):
        per_bow = line_row(board, 1, high, (1 + high) // 2)[0]
        mean[0], sd[0] = (v / per_bow for v in USUAL_RELIEF)
    first = line_row(board, 0, SADDLE, 1)[2]
    if not any(o.way.start == 0 and o.way.read <= 3 for o in observed):
        mean[2], sd[2] = (v / first for v in USUAL_CLEARANCE)
    return mean, sd


def _solve(rows: Array, values: Array, u: Array, mean: Array, sd: Array) -> tuple[Array, Array]:
    weighted = rows / u[:, None]
    covariance = np.asarray(np.linalg.inv(weighted.T @ weighted + np.diag(sd**-2.0)), dtype=np.float64)
    return mean + covariance @ (weighted.T @ ((values - rows @ mean) / u)), covariance


def fit_shape(board: Board, observed: Sequence[Observed], lean: float = LEAN) -> Fitted:
    """What readings say of neck, nut and saddle: least squares, with usual values for what none of them sees.

    Free are the bow once a relief was read, the nut once a clearance near it was, and the saddle. The second mode is
    zero with a standard deviation of `lean` times the bow (docs 20).

    Args:
        board: the stops.
        observed: one reading or more.
        lean: standard deviation of second over bow [1].
    Returns: the fit.
    Raises: InputError without readings; ContradictionError when chi square passes its one-in-a-thousand point, naming
        the reading that fits least.
    """
    if not observed:
        raise InputError("nothing was read; give at least one reading of relief or height.")
    if not 0.0 < lean <= 2.0:
        raise InputError(f"a lean of {lean} cannot be used; it is greater than zero and at most 2.")
    rows = np.stack([line_row(board, o.way.start, o.way.end, o.way.read) for o in observed])
    values = np.array([o.value for o in observed])
    u = np.array([check_uncertainty(o.standard_uncertainty, str(o.way)) for o in observed])
    if not np.isfinite(values).all():
        raise InputError("a reading is not a finite number; read it again.")
    start, sd = _usual(board, observed)
    mean = start
    covariance = np.eye(4)
    sd[1] = LEAST_SECOND
    for _ in range(3):  # the spread of the second mode goes with the bow that is found
        mean, covariance = _solve(rows, values, u, start, sd)
        sd[1] = math.hypot(lean * mean[0], LEAST_SECOND)
    mean, covariance = _solve(rows, values, u, start, sd)
    residuals = (values - rows @ mean) / u
    chi = float(residuals @ residuals + (((mean - start) / sd) ** 2).sum())
    free = np.isin(sd, FREE)
    freedom = len(observed) - int(np.linalg.matrix_rank(rows[:, free])) if free.any() else len(observed)
    fitted = Fitted(NeckShape(board, mean, covariance), chi, freedom, residuals)
    if freedom > 0 and chi > _limit(freedom):
        raise ContradictionError(_complaint(observed, rows, u, covariance, residuals))
    return fitted


def _limit(freedom: int) -> float:
    """One-in-a-thousand point of chi square (Wilson and Hilferty 1931, from memory; within 4 % from 1 up)."""
    spread = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - spread + DOUBT * math.sqrt(spread)) ** 3)


def _complaint(observed: Sequence[Observed], rows: Array, u: Array, covariance: Array, residuals: Array) -> str:
    """Name the reading that stands off most from what the others say (deletion residual)."""
    explained = np.einsum("mi,ij,mj->m", rows, covariance, rows) / u**2
    off = residuals / np.sqrt(np.maximum(1.0 - explained, 1e-9))
    worst = int(np.abs(off).argmax())
    o = observed[worst]
    gap = show_length(o.value, uncertainty=o.standard_uncertainty)
    # with one reading left out, the others say value - residual / (1 - explained)
    others = o.value - residuals[worst] * u[worst] / max(1.0 - float(explained[worst]), 1e-9)
    return (
        f"the {o.way} of {gap} does not go with the other readings, which together say "
        f"{show_length(others, uncertainty=o.standard_uncertainty)} there; read it again, and the others if it stands."
    )


def convert(
    reading: Reading,
    to: Way,
    board: Board,
    others: Sequence[Reading] = (),
    lean: float = LEAN,
    system: System = "mm",
) -> Converted:
    """What another way of reading the same neck, in the same state, would have shown.

    Args:
        reading: the one to convert [m].
        to: the other way.
        board: the stops.
        others: further readings of the same string and state, which narrow the band.
        lean: standard deviation of second over bow [1].
        system: "mm" or "inch", for the sentence.
    Returns: value, standard uncertainty and a sentence.
    Raises: InputError where the readings say nothing of what is asked; ContradictionError as `fit_shape`.
    """
    observed = [observe(r) for r in (reading, *others)]
    if to.relief and not any(o.way.relief for o in observed):
        raise InputError(f"a string height does not give the {to}; read a relief.")
    if to.end == SADDLE and not any(o.way.end == SADDLE for o in observed):
        raise InputError(f"a relief does not give the {to}; read a string height.")
    shape = fit_shape(board, observed, lean).shape
    known = seen(shape, line_row(board, to.start, to.end, to.read))
    shown = show_length(known.value, system, known.standard_uncertainty)
    doubt = show_length(known.standard_uncertainty, system, 0.1 * known.standard_uncertainty)
    text = (
        f"{observed[0].way}: {reading.written}; as {to}: {shown}, standard uncertainty {doubt}, converted through the "
        "shape of the neck"
    )
    return Converted(to, known, text)


def relative_readings(board: Board, ways: Sequence[Way], reference: Way, lean: float = 0.0) -> Array:
    """How much each way reads of a neck, as a multiple of a reference way.

    Args:
        board: the stops.
        ways: ways of reading relief.
        reference: the way that reads 1.
        lean: second over bow of the neck [1].
    Returns: (W) [1].
    Raises: InputError for a way that is not relief.
    """
    if not all(way.relief for way in (*ways, reference)):
        raise InputError("only reliefs can be compared this way; heights depend on nut and saddle too.")
    neck = np.array([1.0, lean, 0.0, 0.0])
    shown = [float(line_row(board, w.start, w.end, w.read) @ neck) for w in (*ways, reference)]
    return np.array(shown[:-1]) / shown[-1]
