"""Hum of the mains: lines at multiples of one frequency that stand still while a note falls; found and taken out.

A line counts where it is heard apart from all partials of the note, keeps its height from piece to piece and turns
against its nominal place as the others do, all by the same ratio (the mains keep to their frequency within 0.1 %,
common practice, no source). Its height and phase come from weighted linear least squares over the whole note.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MAINS = (50.0, 60.0)  # Hz
OFF = 1.2e-3  # relative, that the mains may be off
LINES = 12  # multiples looked at
PIECES = 8  # of the note, half over one another
SHORTEST, LONGEST = 0.12, 0.6  # s of a piece
LOBE = 3.0  # bins of a piece, half the width in which its window hears a tone
STILL = 0.2  # of its height, the most a line may change (standard deviation)
TURNS = 0.25  # rad, the most its phase may stray (standard deviation)
FEWEST = 2  # lines


@dataclass(frozen=True)
class Hum:
    """What is heard of the mains."""

    mains: float  # Hz
    lines: NDArray[np.int64]  # (K) multiples heard
    samples: Array  # (N) what they sound like
    power: float  # mean square


def hum_of(samples: Array, rate: float, partials: Array) -> Hum | None:
    """Hum in a note.

    Args:
        samples: (N) of the part used.
        rate: [Hz].
        partials: (M) where its partials are, about [Hz].
    Returns: the hum; None where none is heard.
    """
    seconds = len(samples) / rate
    size = int(np.clip(2.0 * seconds / (PIECES + 1), SHORTEST, LONGEST) * rate)
    starts = np.arange(0, len(samples) - size + 1, max(size // 2, 1))
    if len(starts) < 4:
        return None
    heard = [_lines(samples, rate, partials, mains, size, starts) for mains in MAINS]
    best = max((one for one in heard if one is not None), key=lambda one: len(one[1]), default=None)
    if best is None:
        return None
    mains, lines = best
    turn = 2.0 * np.pi * mains / rate * np.outer(lines, np.arange(len(samples)))
    waves = np.vstack([np.cos(turn), np.sin(turn)])
    weight = np.hanning(len(samples) + 2)[1:-1] ** 2
    size_of = np.linalg.solve((waves * weight) @ waves.T, waves @ (weight * samples))
    return Hum(mains, lines, np.asarray(size_of @ waves), float(0.5 * (size_of**2).sum()))


def _lines(
    samples: Array, rate: float, partials: Array, mains: float, size: int, starts: NDArray[np.intp]
) -> tuple[float, NDArray[np.int64]] | None:
    """Exact frequency of the mains and the multiples of it that stand still; None where they are too few."""
    number = np.arange(1, LINES + 1)
    width = LOBE * rate / size
    away = np.abs(number[:, None] * mains - np.append(partials, 0.0)).min(axis=1) > 2.0 * width
    number = number[away & (number * mains < 0.45 * rate)]
    if len(number) < FEWEST:
        return None
    window = np.hanning(size + 2)[1:-1] ** 2
    pieces = np.array([samples[a : a + size] for a in starts]) * (2.0 * window / window.sum())
    times = np.arange(size) / rate
    begin = starts / rate
    once = np.exp(-2j * np.pi * mains * times)
    waves = np.cumprod(np.broadcast_to(once, (number[-1], size)), axis=0)[number - 1]
    lines = waves @ pieces.T * np.exp(-2j * np.pi * mains * np.outer(number, begin))
    height = np.abs(lines)
    still = height.std(axis=1) < STILL * height.mean(axis=1)
    phase = np.unwrap(np.angle(lines), axis=1)
    since = begin - begin.mean()
    slope = phase @ since / (since @ since)
    stray = (phase - phase.mean(axis=1)[:, None] - slope[:, None] * since).std(axis=1)
    off = slope / (2.0 * np.pi * number * mains)
    kept = still & (stray < TURNS) & (np.abs(off) < OFF)
    if kept.sum() < FEWEST:
        return None
    weight = (height.mean(axis=1)[kept] * number[kept]) ** 2
    return float(mains * (1.0 + off[kept] @ weight / weight.sum())), number[kept]
