"""Intonation of a nylon-strung guitar as published, with the authors' assumptions as named options.

M. B. Anderson and R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered guitar", J.
Acoust. Soc. Am. 156(1), 683 (2024); equations are called as in the authors' public source of the paper.
Their frame: the nut stands b above the crowns, the saddle c above the nut; the string bends a distance d behind the
fret; nut and saddle are set back by dN and dS, both > 0 when the string gets longer. Nothing lies behind the finger.

stiffness = "nominal": B_n = gamma_n B_0, what their set-backs were computed with. "tension": B_n from the held string's
own tension and length (eq. b_n_def), the better model: the set-backs differ by less than 0.05 mm.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.frozen import frozen
from setwright.physics._ranges import Array, choose, require
from setwright.physics.frets import SCALE
from setwright.physics.strings import TENSION

STIFFNESS = ("nominal", "tension")
CONSTANT = (2.0, 1000.0, "")
COEFFICIENT = (0.0, 0.03, "")
HEIGHT = (0.0, 0.02, "m")
SETBACK = (-0.02, 0.02, "m")
SQUARE = 1.0 + np.pi**2 / 2.0  # factor of B^2 in eq. f_n_def
STEP = 1e-30  # of the complex step: derivatives to the last digit
ROUNDS = 20


@frozen
class Frame:
    """The authors' guitar."""

    scale: float  # m, X_0
    nut_height: float  # m, b, nut above the crowns
    saddle_height: float  # m, c, saddle above the nut
    finger: float = 0.0  # m, d, behind the fret
    frets: int = 12


@frozen
class Errors:
    """Every intermediate quantity of eq. error_def, frets 1 to N."""

    speaking: Array  # (..., N) m, L_n
    growth: Array  # (..., N) 1, Q_n
    stiffness: Array  # (..., N) 1, B_n
    cents: Array  # (..., N)


def rate_constant(
    displacement: ArrayLike, frequency: ArrayLike, length: float, nominal: float, sigma: ArrayLike | None = None
) -> tuple[float, float]:
    """R = (L / f) df/dL (eq. r_def) from frequencies read while the string is wound along.

    Straight line by least squares, weighted by 1 / sigma^2 where given; uncertainty from the scatter about it. The
    authors take L from saddle to fret 1, where they read, and f as the note's nominal frequency.

    Args:
        displacement: (n) [m] of a mark on the string
        frequency: (n) [Hz] of the open string
        length: [m] from saddle to the mark
        nominal: [Hz] f
        sigma: (n) [Hz] standard uncertainty of each frequency

    Returns:
        R [1] and its standard uncertainty [1].

    Valid range: three or more readings at different displacements within 50 mm.

    Raises:
        RangeError: outside it.
    """
    x, f = require("displacement", displacement, -0.05, 0.05, "m"), require("frequency", frequency, 1.0, 1e4, "Hz")
    heft = np.ones_like(f) if sigma is None else require("sigma", sigma, 1e-6, 1e3, "Hz") ** -2.0
    if x.ndim != 1 or x.size < 3 or np.ptp(x) == 0.0:
        raise RangeError("R needs three or more readings at different displacements; read more of them.")
    off = x - (heft * x).sum() / heft.sum()
    spread = (heft * off * off).sum()
    slope = (heft * off * f).sum() / spread
    rest = f - (heft * f).sum() / heft.sum() - slope * off
    per = float(require("length", length, 0.1, 1.5, "m") / require("nominal frequency", nominal, 1.0, 1e4, "Hz"))
    return per * float(slope), per * float(np.sqrt((heft * rest * rest).sum() / (x.size - 2) / spread))


def string_constant(rate: ArrayLike) -> Array:
    """kappa = 2R + 1 (eq. kappa_r), which is also EA / T (eq. kappa_def, EA per length at pitch).

    Args:
        rate: (...) [1] R

    Returns:
        (...) [1]

    Valid range: R 0.5 to 500.

    Raises:
        RangeError: outside it.
    """
    return 2.0 * require("R", rate, 0.5, 500.0, "") + 1.0


def stiffness_coefficient(constant: ArrayLike, radius: ArrayLike, scale: ArrayLike) -> Array:
    """B_0 = sqrt(kappa) radius / (2 X_0) (eq. b_0_kappa), for wound strings too; B_0^2 pi^2 is Fletcher's B.

    Args:
        constant: (...) [1] kappa
        radius: (...) [m] of the string
        scale: (...) [m] X_0

    Returns:
        (...) [1]

    Valid range: kappa 2 to 1000, radius 0.05 to 5 mm, scale 0.2 to 1.5 m.

    Raises:
        RangeError: outside it.
    """
    root = np.sqrt(require("kappa", constant, *CONSTANT)) * require("radius", radius, 5e-5, 5e-3, "m")
    coefficient: Array = root / (2.0 * require("scale length", scale, *SCALE))
    return coefficient


def effective_modulus(constant: ArrayLike, tension: ArrayLike, radius: ArrayLike) -> Array:
    """E = kappa T / (pi radius^2) (eq. kappa_def).

    Args:
        constant: (...) [1] kappa
        tension: (...) [N] at pitch
        radius: (...) [m] of the string

    Returns:
        (...) [Pa]

    Valid range: kappa 2 to 1000, tension 0 to 5000 N, radius 0.05 to 5 mm.

    Raises:
        RangeError: outside it.
    """
    area = np.pi * require("radius", radius, 5e-5, 5e-3, "m") ** 2
    modulus: Array = require("kappa", constant, *CONSTANT) * require("tension", tension, *TENSION) / area
    return modulus


def errors(
    frame: Frame,
    constant: ArrayLike,
    coefficient: ArrayLike,
    saddle: ArrayLike = 0.0,
    nut: ArrayLike = 0.0,
    stiffness: str = "nominal",
) -> Errors:
    """Errors from equal temperament of a string held at frets 1 to N (eqs l_0_def, l_n_def, l_p_def, error_def).

    Args:
        frame: the guitar
        constant: (...) [1] kappa
        coefficient: (...) [1] B_0
        saddle: (...) [m] dS
        nut: (...) [m] dN, below zero for a nut nearer to the bridge
        stiffness: "nominal" or "tension"

    Returns:
        The errors with what leads to them.

    Valid range: kappa 2 to 1000, B_0 up to 0.03, set-backs within 20 mm, heights up to 20 mm.

    Raises:
        RangeError: outside it.
    """
    kappa, b0 = require("kappa", constant, *CONSTANT), require("B_0", coefficient, *COEFFICIENT)
    back, fore = require("saddle set-back", saddle, *SETBACK), require("nut set-back", nut, *SETBACK)
    _check(frame)
    nominal = choose("stiffness", stiffness, STIFFNESS) == "nominal"
    return Errors(*_errors(frame, kappa, b0, back, fore, nominal))


def _check(frame: Frame) -> None:
    require("scale length", frame.scale, *SCALE)
    require("heights of nut and saddle", (frame.nut_height, frame.saddle_height), *HEIGHT)
    require("number of frets", frame.frets, 1, 36, "")
    room = frame.scale * (1.0 - 2.0 ** (-1.0 / 12.0))
    require("distance of the finger behind the fret", frame.finger, 0.0, 0.9 * room, "m")


def _errors(frame: Frame, kappa: Any, b0: Any, back: Any, fore: Any, nominal: bool) -> tuple[Any, Any, Any, Any]:
    """L_n, Q_n, B_n and the cents; set-backs may be complex."""
    gamma = np.exp2(np.arange(1, frame.frets + 1) / 12.0)
    kappa, b0, back, fore = (np.asarray(v)[..., None] for v in (kappa, b0, back, fore))
    b, c, d = frame.nut_height, frame.saddle_height, frame.finger
    at = frame.scale / gamma
    free = np.sqrt((frame.scale + back + fore) ** 2 + c * c)
    run = at + back
    speaking = np.sqrt(run * run + (b + c) ** 2)
    behind = speaking / run * d + np.sqrt((frame.scale - at + fore - d) ** 2 + (b + (b + c) / run * d) ** 2)
    growth = (speaking + behind - free) / free
    pull = 1.0 + kappa * growth
    stiff = gamma * b0 + 0.0 * growth if nominal else b0 * free / (speaking * np.sqrt(pull))
    bent = (1.0 + stiff + SQUARE * stiff**2) / (1.0 + b0 + SQUARE * b0 * b0)
    ratio = free / (gamma * speaking) * np.sqrt((1.0 + growth) * pull) * bent
    return speaking, growth, stiff, 1200.0 * np.log(ratio) / np.log(2.0)


def best_setbacks(
    frame: Frame, constant: ArrayLike, coefficient: ArrayLike, stiffness: str = "nominal"
) -> tuple[Array, Array]:
    """Set-backs of saddle and nut with the least rms error over frets 1 to N (appendix "rms", on eq. error_def itself).

    Gauss-Newton with derivatives by a complex step. The paper's closed form (eq. rms_sol_quad) is its first round from
    approximate errors; the printed values agree with the exact minimum.

    Args:
        frame: the guitar
        constant: (...) [1] kappa
        coefficient: (...) [1] B_0
        stiffness: "nominal" or "tension"

    Returns:
        (...) [m] dS and (...) [m] dN.

    Valid range: as `errors`; two or more frets.

    Raises:
        RangeError: outside it.
    """
    require("number of frets", frame.frets, 2, 36, "")
    kappa, b0 = np.broadcast_arrays(require("kappa", constant, *CONSTANT), require("B_0", coefficient, *COEFFICIENT))
    _check(frame)
    nominal = choose("stiffness", stiffness, STIFFNESS) == "nominal"
    back, fore = np.zeros((2, *kappa.shape))
    for _ in range(ROUNDS):
        error = _errors(frame, kappa, b0, back, fore, nominal)[3]
        by_saddle = _errors(frame, kappa, b0, back + 1j * STEP, fore, nominal)[3].imag / STEP
        by_nut = _errors(frame, kappa, b0, back, fore + 1j * STEP, nominal)[3].imag / STEP
        ss, sn, nn = ((p * q).sum(-1) for p, q in ((by_saddle, by_saddle), (by_saddle, by_nut), (by_nut, by_nut)))
        se, ne = (by_saddle * error).sum(-1), (by_nut * error).sum(-1)
        whole = ss * nn - sn * sn
        step, more = (sn * ne - nn * se) / whole, (sn * se - ss * ne) / whole
        back, fore = back + step, fore + more
        if np.all(np.maximum(np.abs(step), np.abs(more)) < 1e-12):
            break
    return require("saddle set-back", back, *SETBACK), require("nut set-back", fore, *SETBACK)


def rms_with_open(cents: ArrayLike) -> Array:
    """Root mean square over the open string and the frets: the open string's zero counts as one more value.

    That the printed residuals are over frets 0 to 12 was found here: only so are they met (12 values give 4 % more).

    Args:
        cents: (..., N) [cent] of frets 1 to N

    Returns:
        (...) [cent]

    Valid range: within 1200 cents.

    Raises:
        RangeError: outside it.
    """
    off = require("errors", cents, -1200.0, 1200.0, "cents")
    mean: Array = np.sqrt((off * off).sum(-1) / (off.shape[-1] + 1))
    return mean
