"""Which fret stands high: single fret heights from a rocker or straightedge, and what to take off."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics._ranges import Array, require
from setwright.physics.clearance.pairs import MARGIN, pair_shares

GAP = (-5e-3, 5e-3, "m")
SPREAD = (1e-7, 1e-2, "m")


@frozen
class FretHeights:
    """Heights of the crowns off their own best line (and curve, where one was fitted)."""

    height: Array  # (..., N) m, high > 0
    covariance: Array  # (N, N) m2
    residual: Array  # (..., M) m, read less explained
    chi_square: Array  # (...), of readings and spread together
    freedom: int

    @property
    def standard_uncertainty(self) -> Array:
        """(N) m."""
        u: Array = np.sqrt(np.maximum(np.diagonal(self.covariance), 0.0))
        return u


def fret_heights(
    x: ArrayLike,
    frets: ArrayLike,
    gap: ArrayLike,
    gap_uncertainty: ArrayLike,
    spread: float,
    curve: ArrayLike | None = None,
) -> FretHeights:
    """Single fret heights from gaps under a line over two crowns, by least squares; docs (8) and (9), derived here.

    One reading (a, b, c) is the gap at crown c under a straightedge resting on crowns a and b:
    g = h_a + t (h_b - h_a) - h_c, t = (x_c - x_a)/(x_b - x_a). c between a and b is a straightedge with feelers; c
    beyond them is a three-fret rocker resting on a high middle. Frets differ from a smooth line by `spread` before
    anything is read (a Gaussian), which settles what the readings leave open. No reading sees a line added to all
    heights, so heights are given off their own best line; covariance is given for that too.

    Args:
        x: (N) [m] of the crowns, rising
        frets: (M, 3) [1] whole numbers, places in x (first is 0): rests a and b, read c
        gap: (..., M) [m] read
        gap_uncertainty: (M) [m] standard uncertainty of each
        spread: [m] standard deviation of single frets before reading
        curve: (N) [1] shape of the neck's bow at the crowns when its size is unknown and to be fitted, or None

    Returns:
        FretHeights.

    Valid range: three crowns or more, gaps within 5 mm, uncertainties and spread 0.1 um to 10 mm.

    Raises:
        RangeError: outside it, or for a reading whose three frets are not different.
    """
    place = require("x of the crowns", x, -1.0, 3.0, "m")
    count = len(place)
    if count < 3 or np.any(np.diff(place) <= 0.0):
        raise RangeError("fret heights need three or more crowns in order from the nut; give them so.")
    at = require("fret of a reading", frets, 0.0, count - 1.0, "").astype(np.intp)
    if at.ndim != 2 or at.shape[-1] != 3 or np.any(np.diff(np.sort(at, axis=-1), axis=-1) == 0):
        raise RangeError("each reading names three different frets: two the edge rests on, then the one read.")
    a, b, c = at.T
    t = (place[c] - place[a]) / (place[b] - place[a])
    unit = np.eye(count)
    rows = unit[a] * (1.0 - t)[:, None] + unit[b] * t[:, None] - unit[c]
    basis = [np.ones(count), place]
    own = 1.0 / require("spread of the frets", spread, *SPREAD) ** 2 * unit
    if curve is not None:
        shape = require("curve", curve, -1e3, 1e3, "")
        rows = np.column_stack([rows, rows @ shape])
        own = np.pad(own, ((0, 1), (0, 1)))
        basis.append(shape)
    sd = np.broadcast_to(require("uncertainty of a gap", gap_uncertainty, *SPREAD), a.shape)
    read = require("gap", gap, *GAP)
    inverse = np.linalg.pinv(rows.T / sd**2 @ rows + own, rcond=1e-14, hermitian=True)
    solved = (read / sd**2) @ rows @ inverse
    residual = read - solved @ rows.T
    chi = ((residual / sd) ** 2).sum(axis=-1) + ((solved[..., :count] / spread) ** 2).sum(axis=-1)
    line = np.linalg.qr(np.column_stack(basis))[0]
    keep = unit - line @ line.T
    covariance = keep @ inverse[:count, :count] @ keep
    return FretHeights(solved[..., :count] @ keep, covariance, residual, chi, len(a) - len(basis) + 2)


def off_line(found: FretHeights, tolerance: float, coverage: float = 2.0) -> Array:
    """How surely each fret is off: 1 high and 0.5 perhaps high, -1 low and -0.5 perhaps low, 0 fine.

    Sure: off by more than tolerance + coverage x u. Perhaps: off by more than tolerance, but not surely. A high fret
    that gives under a block is loose and is seated; one that does not is levelled (common practice, no source).

    Args:
        found: from `fret_heights`
        tolerance: [m] what is still fine
        coverage: [1] number of standard uncertainties

    Returns:
        (..., N) [1]

    Valid range: tolerance 0 to 1 mm, coverage 0 to 5.

    Raises:
        RangeError: outside it.
    """
    limit = require("tolerance", tolerance, 0.0, 1e-3, "m")
    guard = require("coverage", coverage, 0.0, 5.0, "") * found.standard_uncertainty
    over = np.abs(found.height) - limit
    verdict: Array = np.sign(found.height) * np.where(over > guard, 1.0, np.where(over > 0.0, 0.5, 0.0))
    return verdict


def crown_cut(pairs: ArrayLike, stop_x: ArrayLike, saddle_x: ArrayLike, margin: ArrayLike = 0.0) -> Array:
    """Least to take off every crown so that the string clears everywhere; docs (7), derived here.

    A cut crown is also a lower stop: r_j = max(0, max_i<j (margin - c_ij + (1 - s_ij) r_i)), from the nut towards the
    bridge; the nut itself is not cut. Found by repeating the maximum until nothing changes, at most once per fret.

    Args:
        pairs: (..., S, N, N) [m] from `clearance_map`
        stop_x: (..., S, N) [m]
        saddle_x: (..., S) [m]
        margin: (...) [m] clearance to keep, broadcast to (..., S)

    Returns:
        (..., S, N) [m]; a fret is levelled for the string that asks most.

    Valid range: margin within 5 mm; else as `clearance_map`.

    Raises:
        RangeError: outside it.
    """
    share, ahead = pair_shares(stop_x, saddle_x)
    values = require("clearance", pairs, -1.0, np.inf, "m")
    short = require("margin", margin, *MARGIN)[..., None, None] - values
    passed_on = np.where(ahead, 1.0 - share, 0.0)
    cut: Array = np.maximum(short.max(axis=-2), 0.0)
    for _ in range(ahead.shape[-1]):
        more = np.maximum((short + passed_on * cut[..., None]).max(axis=-2), 0.0)
        if np.array_equal(more, cut):
            break
        cut = more
    return cut
