"""Learning: what readings say about the traits. Gauss-Newton on the forward model, Gaussian in, Gaussian out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.prior import Prior
from setwright.instrument.traits import Array

Model = Callable[[Array], Array]  # deviations (B, P) -> predicted readings (B, R)
STEP = 0.05  # of a standard uncertainty, for central differences
ROUNDS = 4


@frozen
class Learnt:
    """What came of an update."""

    known: Prior
    misfit: Array  # (R) (read - expected before) over the standard uncertainty of that difference
    jacobian: Array  # (R, P) at the new mean


def slopes(model: Model, known: Prior, at: Array) -> tuple[Array, Array]:
    """Predicted readings and their derivatives by every deviation.

    Args:
        model: forward model.
        known: gives the step sizes.
        at: (P) deviations.
    Returns: (R) predicted, (R, P) derivatives.
    """
    step = STEP * np.array([part.sd for part in known.parts])
    shift = np.diag(step)
    out = model(np.concatenate([at[None], at + shift, at - shift]))
    n = len(step)
    return out[0], ((out[1 : n + 1] - out[n + 1 :]) / (2.0 * step[:, None])).T


def learn(known: Prior, model: Model, read: Array, sd: Array) -> Learnt:
    """Posterior of the deviations after readings (Gauss-Newton on the maximum a posteriori, then Laplace).

    Args:
        known: what was known before.
        model: forward model of exactly these readings.
        read: (R) values [SI of each].
        sd: (R) their standard uncertainties.
    Returns: posterior, and how far each reading lay from what was expected.
    """
    at = known.mean
    noise = np.diag(np.asarray(sd) ** 2)
    misfit: Array = np.zeros(len(read))
    gain: Array = np.zeros((len(at), len(read)))
    jacobian: Array = np.zeros((len(read), len(at)))
    for round_ in range(ROUNDS):
        expected, jacobian = slopes(model, known, at)
        spread = jacobian @ known.covariance @ jacobian.T + noise
        if round_ == 0:
            misfit = np.asarray((read - expected) / np.sqrt(np.diag(spread)))
        gain = np.asarray(np.linalg.solve(spread, jacobian @ known.covariance)).T
        new = known.mean + gain @ (read - expected + jacobian @ (at - known.mean))
        done = bool(np.all(np.abs(new - at) < 1e-3 * np.array([part.sd for part in known.parts])))
        at = new
        if done:
            break
    keep = np.eye(len(at)) - gain @ jacobian
    covariance = keep @ known.covariance @ keep.T + gain @ noise @ gain.T
    return Learnt(replace(known, mean=at, covariance=covariance), misfit, jacobian)
